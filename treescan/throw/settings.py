"""Which bag, which line, how fast, how exactly and from where may one throw? Every default with its reason and standing."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import pi, radians
from typing import NamedTuple

from treescan.errors import BadInput
from treescan.settings import setting

EASY = 0.7
"""Up to this share of the fastest throw effort costs no accuracy."""


class AimError(NamedTuple):
    """A deviation of a throw from its aim, or how large it is.

    side : float        To the right, across the flight: the turn of the flight itself, not of its azimuth, which turns by
                        side / cos(elevation). [rad]
    elevation : float   Up. [rad]
    speed : float       Too fast. [share of the speed]
    """

    side: float
    elevation: float
    speed: float


@dataclass(frozen=True)
class Method:
    """One way of sending a bag up: limits of the aim, spread about it, and the time it takes."""

    speed_low: float = setting(
        8.0, "m/s", "slowest release that is worth aiming", "project_choice", low=1.0, high=60.0
    )
    speed_high: float = setting(
        19.0, "m/s", "fastest release that can be aimed", "throw_speed", low=1.0, high=60.0
    )
    elevation_low: float = setting(radians(45.0), "rad", "flattest aim", "project_choice", low=0.1, high=1.55)
    elevation_high: float = setting(
        radians(82.0), "rad", "steepest aim", "project_choice", low=0.1, high=1.55
    )
    speed_sd: float = setting(
        0.04,
        "share of the speed",
        "spread of the release speed, practised thrower",
        "throw_spread",
        low=0.002,
        high=0.3,
    )
    elevation_sd: float = setting(
        radians(2.0), "rad", "spread of the elevation, practised thrower", "throw_spread", low=0.001, high=0.3
    )
    side_sd: float = setting(
        radians(1.5),
        "rad",
        "spread to the side, across the flight, the same at every elevation, practised thrower",
        "throw_spread",
        low=0.001,
        high=0.3,
    )
    effort_growth: float = setting(
        0.25,
        "",
        "all three spreads are this share larger at the fastest throw, less below it, none up to 0.7 of its speed; nothing is "
        "published of bags thrown at full strength, and a thrown ball showed no loss: the worse side is taken",
        "throw_effort",
        low=0.0,
        high=3.0,
    )
    side_bias: float = setting(
        0.0,
        "rad",
        "own throws go on average this far right of the aim, across the flight",
        "project_choice",
        low=-0.5,
        high=0.5,
    )
    elevation_bias: float = setting(
        0.0, "rad", "own throws go on average this far above the aim", "project_choice", low=-0.5, high=0.5
    )
    speed_bias: float = setting(
        0.0,
        "share of the speed",
        "own throws go on average this much faster than aimed",
        "project_choice",
        low=-0.5,
        high=0.5,
    )
    seconds_setup: float = setting(
        60.0, "s", "getting ready at a place", "project_choice", low=0.0, high=7200.0
    )
    seconds_throw: float = setting(
        90.0, "s", "one throw with getting the line back and laid out", "project_choice", low=1.0, high=3600.0
    )
    seconds_working: float = setting(
        240.0, "s", "working the weight back once", "project_choice", low=0.0, high=7200.0
    )

    def __post_init__(self) -> None:
        if not self.speed_low < self.speed_high:
            raise BadInput("the slowest speed of a way of throwing is not below the fastest")
        if not self.elevation_low < self.elevation_high:
            raise BadInput("the flattest elevation of a way of throwing is not below the steepest")

    @property
    def bias(self) -> AimError:
        """How own throws deviate from the aim on average."""
        return AimError(self.side_bias, self.elevation_bias, self.speed_bias)

    def wider_at(self, speed: float) -> float:
        """How many times an easy throw's scatter a throw aimed at this speed [m/s] has."""
        effort = min(max((speed / self.speed_high - EASY) / (1 - EASY), 0.0), 1.0)
        return 1 + self.effort_growth * effort

    def spread_at(self, speed: float) -> AimError:
        """Standard deviations of a throw aimed at this speed [m/s]: wider the nearer it comes to the fastest."""
        wider = self.wider_at(speed)
        return AimError(self.side_sd * wider, self.elevation_sd * wider, self.speed_sd * wider)


HAND = Method()
TWO_HAND = Method(speed_high=21.0, elevation_low=radians(55.0), elevation_high=radians(85.0))
LAUNCHER = Method(
    speed_low=10.0,
    speed_high=30.0,
    elevation_low=radians(40.0),
    elevation_high=radians(86.0),
    speed_sd=0.02,
    elevation_sd=radians(0.7),
    side_sd=radians(0.7),
    seconds_setup=300.0,
    seconds_throw=150.0,
)

METHODS = ("hand", "two_hand", "launcher")
"""Ways of throwing: one hand; both hands, swung between the legs; a launcher."""


@dataclass(frozen=True)
class ThrowSettings:
    """All that the throw path depends on besides the scan."""

    methods: tuple[str, ...] = setting(
        METHODS, "", "ways of throwing at hand", "project_choice", choices=METHODS
    )
    hand: Method = field(default=HAND)
    two_hand: Method = field(default=TWO_HAND)
    launcher: Method = field(default=LAUNCHER)

    bag_mass: float = setting(0.34, "kg", "throw bag, 12 oz", "throw_bags", low=0.1, high=1.0)
    bag_radius: float = setting(0.03, "m", "half the bag's width", "project_choice", low=0.005, high=0.1)
    drag: float = setting(
        0.6,
        "",
        "drag coefficient of the bag: between a sphere (0.4 to 0.5) and a blunt body (0.8 to 1.1)",
        "blunt_body_drag",
        low=0.0,
        high=2.0,
    )
    line_density: float = setting(0.002, "kg/m", "throw line of about 2 mm", "line_mass", low=0.0, high=0.02)
    air_density: float = setting(
        1.225, "kg/m3", "air at sea level, 15 degrees C", "standard_air", low=0.0, high=2.0
    )
    line_width: float = setting(
        0.002, "m", "throw line, for the wind on it", "line_mass", low=0.0, high=0.02
    )
    line_drag: float = setting(
        1.1, "", "drag coefficient of the line across the wind, a round cylinder", "blunt_body_drag", low=0.0, high=2.0
    )
    wind_speed: float = setting(
        3.0,
        "m/s",
        "wind while one throws: a light breeze, the upper part of Beaufort 2; 0 = none",
        "light_breeze",
        low=0.0,
        high=20.0,
    )
    wind_from: float = setting(
        0.0,
        "rad",
        "where it comes from, clockwise from north; counts only where wind_turns is below half a round",
        "project_choice",
        low=0.0,
        high=2 * pi,
    )
    wind_turns: float = setting(
        pi,
        "rad",
        "how far its direction may lie to either side: half a round = not known, so that nobody aims off for it",
        "project_choice",
        low=0.0,
        high=pi,
    )
    wind_gust: float = setting(
        0.4, "share of the speed", "its scatter from throw to throw among trees", "light_breeze", low=0.0, high=2.0
    )
    friction: float = setting(
        0.3,
        "",
        "line on bark, middle value: whether it slides along a limb",
        "line_friction",
        low=0.0,
        high=1.5,
    )
    friction_high: float = setting(
        0.5,
        "",
        "line on rough bark: whether the bag comes down by itself",
        "line_friction",
        low=0.0,
        high=1.5,
    )

    release_height: float = setting(
        1.5, "m", "release above the thrower's feet", "project_choice", low=0.5, high=3.0
    )
    reach_along: float = setting(
        1.0,
        "m",
        "x_max: farthest place on the wanted limb, from the parent's bark",
        "project_choice",
        low=0.05,
        high=5.0,
    )
    smallest_limb: float = setting(
        0.01, "m", "wood thinner than this bends away from a bag", "project_choice", low=0.0, high=0.05
    )
    max_worked: int = setting(
        4, "", "most captured limbs that one working is expected to clear", "project_choice", low=0, high=20
    )
    max_between: int = setting(
        5,
        "",
        "most limbs a line may lie over besides the wanted one, even for a basal anchor: a line over more than six is no success",
        "common_practice",
        low=0,
        high=90,
    )
    near_thrower: float = setting(
        5.0, "m", "a bag that comes down nearer than this to the thrower (two spreads of a steep throw by hand) counts for less and gets its own warning",
        "common_practice", low=0.0, high=20.0,
    )  # fmt: skip
    strike_speed: float = setting(
        8.0,
        "m/s",
        "a bag that strikes wood faster than this (level speed while it falls) is not counted on: where it goes cannot be told",
        "project_choice",
        low=0.0,
        high=60.0,
    )
    limb_cost: float = setting(
        0.05,
        "",
        "where place and aim are chosen, a throw counts less by this share for every limb the line falls over besides",
        "project_choice",
        low=0.0,
        high=1.0,
    )
    overshoot_cost: float = setting(
        0.02,
        "1/m",
        "and by this share for every metre the bag flies beyond the last limb the line falls over",
        "project_choice",
        low=0.0,
        high=1.0,
    )
    steep_aim: float = setting(
        radians(80.0),
        "rad",
        "aims steeper than this are left where another place does nearly as well, and told",
        "project_choice",
        low=0.5,
        high=1.57,
    )
    nearly_as_good: float = setting(
        0.1,
        "",
        "places within this share of the best chance do nearly as well: the bag comes down far from the thrower, the aim is not steep",
        "common_practice",
        low=0.0,
        high=0.9,
    )
    near_worth: float = setting(
        0.5,
        "",
        "what a throw counts, where place and aim are chosen, when its bag comes down near the thrower",
        "project_choice",
        low=0.0,
        high=1.0,
    )
    shaft_clearance: float = setting(
        0.05,
        "m",
        "room beside the wanted limb for the falling bag, besides its own width",
        "project_choice",
        low=0.0,
        high=1.0,
    )
    snag_factor: float = setting(
        0.1, "", "k in the snag chance 1 - exp(-k x density x path)", "snag_law", low=0.0, high=5.0
    )
    lift_height: float = setting(
        2.5,
        "m",
        "a line over things lower than this can be lifted off by hand",
        "project_choice",
        low=0.0,
        high=5.0,
    )

    stance_spacing: float = setting(
        1.25, "m", "grid of standing places", "project_choice", low=0.25, high=10.0
    )
    search_radius: float = setting(
        20.0, "m", "farthest standing place from the stem's foot", "project_choice", low=2.0, high=60.0
    )
    beyond_crown: float = setting(
        6.0, "m", "farthest standing place outside the crown", "project_choice", low=0.0, high=40.0
    )
    stem_clearance: float = setting(
        1.0, "m", "nearest standing place to the stem's bark", "project_choice", low=0.0, high=10.0
    )
    walkable_slope: float = setting(
        radians(30.0), "rad", "steepest ground to throw from", "project_choice", low=0.0, high=1.2
    )
    wood_reach: float = setting(
        0.8,
        "m",
        "free room round the release point for the swinging arm",
        "project_choice",
        low=0.0,
        high=3.0,
    )
    foliage_limit: float = setting(
        0.3,
        "1/m",
        "twig and leaf density at the release point above which one does not throw",
        "project_choice",
        low=0.0,
        high=10.0,
    )
    conductor_distance: float = setting(
        10.0,
        "m",
        "standing places this near a drawn conductor are left out; not a safe distance",
        "conductor_10m",
        low=0.0,
        high=100.0,
    )
    wire_distance: float = setting(
        4.0,
        "m",
        "standing places this near a wire the scan saw are left out; not a safe distance",
        "project_choice",
        low=0.0,
        high=100.0,
    )
    wire_clearance: float = setting(
        1.5,
        "m",
        "a flight or line this near a wire counts as touching it",
        "project_choice",
        low=0.0,
        high=20.0,
    )
    wire_chance: float = setting(
        0.002,
        "",
        "an aim with a larger chance of nearing a wire is not proposed",
        "project_choice",
        low=0.0,
        high=1.0,
    )

    min_chance: float = setting(
        0.01, "", "smaller chances are not reported as a throw", "project_choice", low=0.0, high=1.0
    )
    candidates: int = setting(
        2,
        "",
        "standing places worked out finely for each union, class and method",
        "project_choice",
        low=1,
        high=50,
    )
    fine_planes: int = setting(
        1024, "", "azimuths in the fine integral of a chance", "project_choice", low=8, high=2000
    )
    fine_flights: int = setting(
        16, "", "flights an azimuth in the fine integral of a chance", "project_choice", low=8, high=5000
    )

    def method(self, name: str) -> Method:
        """Limits and spread of one way of throwing."""
        methods = {"hand": self.hand, "two_hand": self.two_hand, "launcher": self.launcher}
        return methods[name]
