"""What the wood room lets the user change, with units and standing."""

from __future__ import annotations

from dataclasses import dataclass

from treescan.settings import setting


@dataclass(frozen=True)
class WoodSettings:
    """How the wood graph is built from the wood points."""

    cell: float = setting(0.015, "m", "grid to which wood points are thinned for the skeleton (diameters use every point)", "project_choice", low=0.005, high=0.2)
    max_cells: int = setting(1_500_000, "", "above this many thinned points the grid is made coarser", "project_choice", low=10_000)
    neighbours: int = setting(10, "", "neighbours each thinned point is joined to", "project_choice", low=4, high=40)
    level: float = setting(0.05, "m", "length of one slice of equal distance from the foot", "project_choice", low=0.01, high=1.0)
    longest_gap: float = setting(1.2, "m", "longest piece of limb hidden from the scanner that is bridged", "project_choice", low=0.0, high=5.0)
    smallest_diameter: float = setting(0.015, "m", "thinner wood is not modelled: it counts as twigs", "project_choice", low=0.002, high=0.2)
    shortest_branch: float = setting(0.15, "m", "shorter side pieces beyond the parent's bark are not limbs", "project_choice", low=0.02, high=2.0)
    level_of_fitness: float = setting(2.0, "m", "height of one band of the fitness table", "project_choice", low=0.5, high=10.0)
    arc_one_sided: float = setting(120.0, "deg", "less bark than this seen round the limb counts as one-sided", "one_sided_arc", low=30.0, high=300.0)
    max_slender: float = setting(130.0, "", "height over the lower stem's diameter beyond which what was measured is not the stem", "project_choice", low=50.0, high=300.0)
    noise_off: bool = setting(True, "", "take the thickening by the points' scatter off the radius", "circle_fit_bias")
    min_noise: float = setting(0.0015, "m", "scatter of the points below this is not believed", "beam_thick_twigs", low=0.0, high=0.05)
    align_positions: bool = setting(True, "", "take each scan position's registration error off, read from the limbs", "beam_thick_twigs")
