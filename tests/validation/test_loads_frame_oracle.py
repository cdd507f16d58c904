"""Forces, moments and deflections of whole trees against an independent frame solver (PyNite, linear statics)."""

import numpy as np
import pytest
from Pynite import FEModel3D
from strategies import alone, random_tree

from treescan.loads.judging.judged import contacts_of
from treescan.loads.limb_check import AnchorConfiguration
from treescan.loads.material.wood_strength import wood_of
from treescan.loads.rope.configuration_loads import configuration_loads
from treescan.loads.sections.deflection import displacements
from treescan.loads.sections.section_stress import section_forces
from treescan.loads.settings import LoadSettings
from treescan.loads.statics.governing import governed
from treescan.loads.statics.load_path import load_path
from treescan.loads.statics.structural_model import whole_tree
from treescan.units import G

MOE, SHEAR = 9.0e9, 0.6e9


def solved(graph, force, moment):
    """The same tree in the frame solver, clamped at node 0."""
    model = FEModel3D()
    model.add_material("wood", MOE, SHEAR, 0.3, 900.0)
    for i, (x, y, z) in enumerate(graph.xyz):
        model.add_node(f"N{i}", float(x), float(y), float(z))
    for i in range(1, len(graph)):
        r = float(graph.segment_radius[i])
        inertia = np.pi * r**4 / 4
        model.add_section(f"S{i}", np.pi * r * r, inertia, inertia, 2 * inertia)
        model.add_member(f"M{i}", f"N{graph.parent[i]}", f"N{i}", "wood", f"S{i}")
    model.def_support("N0", True, True, True, True, True, True)
    for i in range(len(graph)):
        for direction, value in zip(("FX", "FY", "FZ", "MX", "MY", "MZ"), [*force[i], *moment[i]], strict=True):
            if value:
                model.add_node_load(f"N{i}", direction, float(value))
    model.analyze_linear(check_stability=False, sparse=True)
    return model


@pytest.mark.parametrize(("seed", "limbs"), [(1, 4), (2, 7), (5, 10), (8, 22)])
def test_tree_equals_frame_solver(seed, limbs):
    """Axial force, shear, bending, torsion, displacement and rotation agree to 1e-6 of the largest value in the tree."""
    graph = random_tree(seed, limbs=limbs, step=0.45, height=12.0)
    assert 60 <= len(graph) - 1 <= 300
    rng = np.random.default_rng(seed)
    force, moment = np.zeros((len(graph), 3)), np.zeros((len(graph), 3))
    loaded = rng.choice(np.arange(1, len(graph)), 12, replace=False)
    force[loaded] = rng.normal(0, 800, (12, 3))
    moment[loaded[:4]] = rng.normal(0, 60, (4, 3))
    model = solved(graph, force, moment)

    u, turn = displacements(graph.xyz, graph.parent, graph.segment_radius, MOE, SHEAR, force, moment)
    names = [f"N{i}" for i in range(len(graph))]
    theirs = np.array([[getattr(model.nodes[n], d)["Combo 1"] for d in ("DX", "DY", "DZ", "RX", "RY", "RZ")] for n in names])
    assert np.abs(u - theirs[:, :3]).max() <= 1e-6 * np.abs(theirs[:, :3]).max()
    assert np.abs(turn - theirs[:, 3:]).max() <= 1e-6 * np.abs(theirs[:, 3:]).max()

    child = np.arange(1, len(graph))
    above = np.array([graph.above(i)[loaded] for i in child])
    extra = np.array([(graph.above(i)[:, None] * moment).sum(axis=0) for i in child])
    mine = section_forces(
        graph.xyz[graph.parent[child]], graph.direction[child], above, graph.xyz[loaded][None], force[loaded][None], None, extra
    )
    ends = np.array([np.asarray(model.members[f"M{i}"].f()).ravel()[:6] for i in child])
    for ours, other in [
        (-mine.axial[0], ends[:, 0]),
        (mine.shear[0], np.hypot(ends[:, 1], ends[:, 2])),
        (mine.torsion[0], np.abs(ends[:, 3])),
        (mine.bending[0], np.hypot(ends[:, 4], ends[:, 5])),
    ]:
        assert np.abs(ours - other).max() <= 1e-6 * np.abs(other).max()


@pytest.mark.parametrize("system", ["MRS", "SRS basal"])
def test_a_whole_check_equals_the_frame_solver(system):
    """The sections of an anchor check, rope legs on the bark and the tree's own weight included, carry what the frame solver finds."""
    graph = random_tree(4, limbs=12, step=0.45, height=12.0)
    settings = LoadSettings()
    wood = wood_of("English oak", settings)
    tree = whole_tree(graph, alone(graph), wood, settings)
    u = graph.unions
    k = max(range(len(u)), key=lambda i: u.arm_diameter[u.laterals(i)].max() * u.height[i])
    configuration = AnchorConfiguration(k, system, "rope on bark", int(u.arm_node[u.laterals(k)[0]]), 0.6, np.zeros(0, np.int32), np.array([0.5, -0.4, 1.0]))
    contacts = contacts_of(tree, configuration)
    loads = configuration_loads(system, "rope on bark", contacts, np.asarray(configuration.base), 0.0, graph.xyz[::9], settings)
    path = load_path(tree, contacts)
    use = governed(tree, loads, path, system, "rope on bark")

    force, moment = np.zeros((len(graph), 3)), np.zeros((len(graph), 3))
    for contact, points, legs in zip(contacts, use.legs.point, use.legs.force, strict=True):
        force[contact.node] += legs.sum(axis=0)
        moment[contact.node] += np.cross(points - graph.xyz[contact.node], legs).sum(axis=0)
    s = graph.segments
    a, b = s.r_start, s.r_end
    mass = np.pi / 3 * graph.length[1:] * (a * a + a * b + b * b) * wood.density * np.where(s.limb > 0, 1 + settings.twig_share, 1.0)
    centre = s.start + ((a * a + 2 * a * b + 3 * b * b) / (4 * (a * a + a * b + b * b)))[:, None] * (s.end - s.start)
    weight = np.column_stack([np.zeros((len(mass), 2)), -mass * G])
    force[1:] += weight
    moment[1:] += np.cross(centre - s.end, weight)
    model = solved(graph, force, moment)

    sections = tree.sections
    here = [i for i, n in enumerate(path.node) if np.allclose(sections.point[n], graph.xyz[graph.parent[n]])]  # not moved out to the bark
    assert len(here) > 5
    ends = np.array([np.asarray(model.members[f"M{path.node[i]}"].f()).ravel()[:6] for i in here])
    # the section carries its own segment too: the solver's lower member end holds all that hangs on the child node
    for ours, other in [
        (-use.forces.axial[0, here], ends[:, 0]),
        (use.forces.shear[0, here], np.hypot(ends[:, 1], ends[:, 2])),
        (use.forces.torsion[0, here], np.abs(ends[:, 3])),
        (use.forces.bending[0, here], np.hypot(ends[:, 4], ends[:, 5])),
    ]:
        assert np.abs(ours - other).max() <= 1e-6 * np.abs(other).max()
