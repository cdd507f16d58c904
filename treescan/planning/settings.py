"""Every limit, weight, distance and metre of rope that planning decides with."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from math import pi, radians

from treescan.settings import setting

CRITERIA = ("height", "margin", "rope angle", "coverage", "isolation", "redundancy", "effort")
"""The desirabilities, in the order they are shown; each lies in [0, 1] and 1 is best."""


@dataclass(frozen=True)
class Weights:
    """How much each desirability counts in the score; only their ratios matter."""

    height: float = setting(
        0.07, "", "share of the work that lies below the tie-in point", "project_choice", low=0.0
    )
    margin: float = setting(0.18, "", "low side of strength over stress", "project_choice", low=0.0)
    rope_angle: float = setting(
        0.10, "", "mean rope angle over the work it serves", "project_choice", low=0.0
    )
    coverage: float = setting(0.35, "", "share of the work it serves", "project_choice", low=0.0)
    isolation: float = setting(
        0.10,
        "",
        "chance that a throw from the ground sets the line as the system needs it",
        "project_choice",
        low=0.0,
    )
    redundancy: float = setting(
        0.12, "", "what catches the climber if the union gives out", "project_choice", low=0.0
    )
    effort: float = setting(
        0.08, "", "minutes until the first climber hangs there", "project_choice", low=0.0
    )

    def as_tuple(self) -> tuple[float, ...]:
        """Weights in the order of `CRITERIA`, made to sum to 1; equal weights if all are zero."""
        raw = [float(getattr(self, f.name)) for f in fields(self)]
        total = sum(raw)
        return tuple(w / total for w in raw) if total > 0 else (1.0 / len(raw),) * len(raw)


@dataclass(frozen=True)
class Approach:
    """Distances to conductors. The line owner's and the local rules always win; nothing here is a distance
    judged enough."""

    gate: float = setting(
        3.05,
        "m",
        "no candidate within this of a conductor up to 50 kV (10 ft, phase-to-phase reading)",
        "approach_usa",
        low=0.0,
    )
    per_10_kv: float = setting(0.10, "m", "added for each 10 kV over 50 kV", "approach_usa", low=0.0)
    unknown: float = setting(
        10.0, "m", "gate when the voltage is not known, and for wires the scan saw", "approach_uk", low=0.0
    )
    flag: float = setting(
        10.0, "m", "ask the line owner before work within this distance", "approach_uk", low=0.0
    )
    own_table: tuple[float, ...] = setting(
        (),
        "kV, m, kV, m ...",
        "your own table: up to this voltage, this distance; before the rule",
        "project_choice",
    )
    owner: float = setting(
        0.0,
        "m",
        "distance stated by the line owner; 0 = none stated; used in place of the table",
        "project_choice",
        low=0.0,
    )
    envelope: float = setting(
        1.5, "m", "reach of a climber with hand tools round the rope", "project_choice", low=0.0, high=5.0
    )


@dataclass(frozen=True)
class PlanningSettings:
    """Settings of this room. Angles carry `_deg` in their names and are turned to radians by the properties
    below."""

    weights: Weights = field(default_factory=Weights)
    approach: Approach = field(default_factory=Approach)

    # work
    work_points: int = setting(
        200,
        "",
        "points the whole crown is sampled with when no work is given",
        "project_choice",
        low=1,
        high=20000,
    )

    # candidates
    max_unions: int = setting(
        60, "", "unions judged at most, the highest and thickest first", "project_choice", low=1, high=500
    )
    min_candidate_diameter: float = setting(
        0.05, "m", "thinner limbs are not even listed", "project_choice", low=0.01, high=0.5
    )
    min_candidate_height: float = setting(
        3.0, "m", "lower unions are not listed as tie-in points", "project_choice", low=0.0
    )
    min_stub: float = setting(
        0.03,
        "m",
        "least limb that keeps a sling choked round the stem above it from sliding down",
        "common_practice",
        low=0.005,
        high=0.3,
    )
    upright_deg: float = setting(
        45.0,
        "deg",
        "a stem or leader at least this steep can be choked above a union whose limbs are too thin",
        "project_choice",
        low=10.0,
        high=90.0,
    )
    whorl_gap: float = setting(
        0.4,
        "m",
        "of several places to choke one stem within this, only the highest is listed",
        "project_choice",
        low=0.0,
        high=3.0,
    )
    mrs_hardware: tuple[str, ...] = setting(
        ("ring",), "", "what the moving rope runs over at the union", "project_choice"
    )
    canopy_hardware: tuple[str, ...] = setting(
        ("rope on bark",), "", "how a stationary rope is fixed at the union", "project_choice"
    )
    basal_hardware: tuple[str, ...] = setting(
        ("rope on bark",), "", "what a basal line runs over at the union", "project_choice"
    )

    # gates
    min_limb: float = setting(
        0.08,
        "m",
        "thinner limbs are not ranked: about a forearm, the least a published manual names",
        "forearm_minimum",
        low=0.02,
    )
    margin_gate: float = setting(
        1.0,
        "",
        "not ranked when the low end of strength over stress is below this",
        "project_choice",
        low=0.0,
    )
    margin_doubt: float = setting(1.5, "", "inspect first when it is below this", "project_choice", low=0.0)
    steepest_droop_deg: float = setting(
        10.0,
        "deg",
        "a limb that falls away more steeply than this lets the rope run out along it",
        "limbs_level_or_up",
        low=0.0,
        high=90.0,
    )
    min_arc_deg: float = setting(
        120.0,
        "deg",
        "inspect first when the scan saw less of the round than this",
        "project_choice",
        low=0.0,
        high=360.0,
    )
    max_included: float = setting(
        0.8,
        "",
        "inspect first when the second limb is at least this share of the thickest: codominant, bark may be "
        "included",
        "dahle_2022",
        low=0.0,
    )
    hard_drop: float = setting(
        4.0, "m", "a back-up that catches after a drop of this is hardly one", "project_choice", low=0.6
    )

    # reach
    rope_angle_limit_deg: float = setting(
        45.0,
        "deg",
        "largest rope angle from plumb that counts as served",
        "redirect_angle",
        low=5.0,
        high=85.0,
    )
    lean_limit_deg: float = setting(
        5.0,
        "deg",
        "a limb in the way fouls the rope when it would bend it by more than this",
        "project_choice",
        low=0.0,
        high=90.0,
    )
    hand_reach: float = setting(
        0.8, "m", "the climber works this far from where the rope ends", "project_choice", low=0.0, high=3.0
    )
    own_wood: float = setting(
        0.5,
        "m",
        "wood this near the tie-in point does not foul the rope: it lies against its own union",
        "project_choice",
        low=0.0,
        high=3.0,
    )
    body_radius: float = setting(
        0.35, "m", "of the climber, for what a swing hits", "project_choice", low=0.0, high=1.0
    )
    push_off: float = setting(
        1.0,
        "m",
        "a swing is past the wood it started from after this much arc",
        "project_choice",
        low=0.0,
        high=5.0,
    )
    walk_limit_deg: float = setting(
        60.0,
        "deg",
        "beyond the limit, up to here, a limb walk may still reach the work",
        "redirect_angle",
        low=5.0,
        high=85.0,
    )
    pole_reach: float = setting(
        2.0,
        "m",
        "work this near to a place the climber gets to is reached with a pole saw; 0 = none is carried",
        "common_practice",
        low=0.0,
        high=8.0,
    )
    walk_diameter: float = setting(0.10, "m", "least limb to walk out on", "project_choice", low=0.02)

    # access
    step_reach: float = setting(
        4.0,
        "m",
        "a climber can throw a line this much higher from a secure place in the tree",
        "common_practice",
        low=0.5,
        high=15.0,
    )
    step_sideways: float = setting(
        3.0, "m", "and this far to the side", "common_practice", low=0.5, high=15.0
    )
    ladder_reach: float = setting(
        4.0,
        "m",
        "lowest union that can be reached without a line, from a ladder or by lanyards",
        "common_practice",
        low=0.0,
        high=8.0,
    )
    lanyard_reach: float = setting(
        2.0,
        "m",
        "with lanyards round an upright stem the next limb to hold or stand on lies within this",
        "common_practice",
        low=0.3,
        high=4.0,
    )
    spurs: bool = setting(
        False,
        "",
        "spurs may be worn: they wound the tree, so only for removals; a run with cuts sets it",
        "common_practice",
    )
    minutes_per_metre_lanyard: float = setting(
        1.0, "min/m", "climbing with two lanyards in turn", "project_choice", low=0.0
    )
    step_limb: float = setting(
        0.08, "m", "least limb to hang on while advancing", "forearm_minimum", low=0.02
    )

    # effort
    minutes_per_metre: float = setting(0.35, "min/m", "ascent on a rope", "project_choice", low=0.0)
    minutes_per_step: float = setting(
        6.0, "min", "one advance in the tree: throw, check, change over", "project_choice", low=0.0
    )
    minutes_full: float = setting(60.0, "min", "effort that scores nothing", "project_choice", low=1.0)
    max_throws: float = setting(
        25.0, "", "expected throws at which isolation scores nothing", "project_choice", low=2.0
    )

    # ropes
    tail: float = setting(
        3.0, "m", "below the hands or at the foot, knots included", "common_practice", low=0.0
    )
    canopy_tail: float = setting(
        2.0, "m", "for the knot or the choke at a canopy anchor", "common_practice", low=0.0
    )
    throwline_spare: float = setting(10.0, "m", "throwline left at the hand", "common_practice", low=0.0)
    stock_lengths: tuple[float, ...] = setting(
        (30.0, 35.0, 45.0, 60.0, 80.0, 100.0, 120.0),
        "m",
        "lengths ropes are stocked in",
        "common_practice",
        low=1.0,
    )

    # removal, rescue, two trees
    stopped_piece: float = setting(
        10.0,
        "",
        "least pull on the block, over the weight of the piece, where a piece that fell past it is stopped hard",
        "stopped_piece",
        low=2.0,
        high=30.0,
    )
    green_density_sd: float = setting(
        0.15, "", "scatter of green wood density as a share of it", "project_choice", low=0.0, high=1.0
    )
    crown_allowance: float = setting(
        0.25,
        "",
        "twigs and leaves added to the mass of a branch, as a share of its wood",
        "project_choice",
        low=0.0,
        high=3.0,
    )
    corridor_radius: float = setting(
        0.6, "m", "clear space round a person being lowered", "project_choice", low=0.1
    )
    apart_on_stem: float = setting(
        1.25,
        "",
        "two anchors round one stem count as different wood when the lower is this many times thicker: "
        "about twice the strength",
        "project_choice",
        low=1.0,
        high=3.0,
    )
    floating_limit_deg: float = setting(
        120.0,
        "deg",
        "largest angle between the two lines of an anchor hung between trees",
        "floating_anchor",
        low=30.0,
        high=170.0,
    )

    # stability
    draws: int = setting(
        400, "", "perturbed rankings behind the stability figures", "project_choice", low=20, high=20000
    )
    weight_scatter: float = setting(
        0.3,
        "",
        "scatter of the weights between people, as a share (lognormal)",
        "project_choice",
        low=0.0,
        high=2.0,
    )
    angle_error_deg: float = setting(
        2.0,
        "deg",
        "error of a rope angle from the scan and from where the rope settles",
        "project_choice",
        low=0.0,
        high=20.0,
    )
    chance_error: float = setting(
        0.4, "", "error of the throw chance, as a share (lognormal)", "project_choice", low=0.0, high=2.0
    )
    place_error: float = setting(0.1, "m", "error of a union's height", "project_choice", low=0.0, high=2.0)
    effort_error: float = setting(
        0.25, "", "error of the minutes, as a share", "project_choice", low=0.0, high=1.0
    )
    tie_confidence: float = setting(
        0.70,
        "",
        "two neighbours in the list are a tie when the first leads in fewer of the draws than this",
        "project_choice",
        low=0.5,
        high=1.0,
    )
    tie_band: float = setting(
        0.01, "", "scores nearer than this count as the same place", "project_choice", low=0.0, high=0.5
    )

    @property
    def rope_angle_limit(self) -> float:
        """[rad]"""
        return radians(self.rope_angle_limit_deg)

    @property
    def walk_limit(self) -> float:
        """[rad]"""
        return radians(self.walk_limit_deg)

    @property
    def upright(self) -> float:
        """[rad]"""
        return radians(self.upright_deg)

    @property
    def lean_limit(self) -> float:
        """[rad]"""
        return radians(self.lean_limit_deg)

    @property
    def steepest_droop(self) -> float:
        """[rad]"""
        return radians(self.steepest_droop_deg)

    @property
    def min_arc(self) -> float:
        """[rad]"""
        return radians(self.min_arc_deg)

    @property
    def angle_error(self) -> float:
        """[rad]"""
        return radians(self.angle_error_deg)

    @property
    def floating_limit(self) -> float:
        """[rad]"""
        return radians(self.floating_limit_deg)

    def hardware(self, system: str) -> tuple[str, ...]:
        """Hardware to try for a rope system."""
        return {
            "MRS": self.mrs_hardware,
            "SRS canopy": self.canopy_hardware,
            "SRS basal": self.basal_hardware,
        }[system]


SHARE_ANGLES = (pi / 6, pi / 4, pi / 3)
"""Rope angles at which the share of the work is always reported: 30, 45 and 60 degrees. [rad]"""

SYSTEMS = ("MRS", "SRS canopy", "SRS basal")
"""Rope systems planning knows."""
