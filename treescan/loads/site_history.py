"""What does a planner know of the weather this crown has stood? The site, its wind, and what changed.

Wind alters a number, never a verdict. Years whose strongest gust came in hard frost are not to be counted:
frozen wood is stronger.
"""

from __future__ import annotations

from dataclasses import dataclass

from treescan.settings import setting

ENCLOSED, SHELTERED, SUBURB, OPEN = EXPOSURES = ("enclosed", "sheltered", "suburban", "open")
"""How the crown stands in the wind, the least first."""

UNCHANGED, REDUCED, EXPOSED, DAMAGED = CHANGES = ("unchanged", "reduced", "newly exposed", "damaged")
"""What became of the crown or its site."""

MOST_YEARS = 20
"""No more years are counted."""

WEATHER_NORMALS = 5 + 2 * MOST_YEARS
"""Standard normals of one draw of past weather, as `history.winds` reads them: drag, mean gust, strength in
a gust, strength lost unseen,
prevailing direction, then gust and direction of every year, the last one first."""


@dataclass(frozen=True)
class SiteHistory:
    """What is assumed of the weather the crown has stood; `[loads.history]` in a settings file."""

    years: int = setting(
        5,
        "",
        "years of wind the crown has stood in its present shape, back from the scan; 0 = count no wind",
        "site_wind",
        low=0,
        high=MOST_YEARS,
    )
    exposure: str = setting(
        SHELTERED,
        "",
        "how the crown stands in the wind (suburban: or a wood's edge); more than sheltered counts only "
        "beside a station's gusts, enclosed (a courtyard, inside a wood) counts no wind",
        "site_wind",
        choices=EXPOSURES,
    )
    station_gust: float = setting(
        0.0,
        "m/s",
        "mean of each year's strongest gust at a station near the tree; 0 = none, and 15 m/s at the tree is "
        "taken",
        "site_wind",
        low=0.0,
        high=45.0,
    )
    station_leaf_gust: float = setting(
        0.0,
        "m/s",
        "the same of the months in leaf; 0 = none, and no wind on leaves is counted",
        "site_wind",
        low=0.0,
        high=45.0,
    )
    prevailing_deg: float = setting(
        -1.0,
        "deg",
        "where strong winds come from, clockwise from north; -1 = not known, any direction alike",
        "site_wind",
        low=-1.0,
        high=360.0,
    )
    changed: str = setting(
        UNCHANGED,
        "",
        "what became of the crown or its site; no wind before it counts, and after damage none at all",
        "site_wind",
        choices=CHANGES,
    )
    changed_years: int = setting(0, "", "full years since then", "site_wind", low=0, high=200)
    wet_leaves: float = setting(
        0.10,
        "-",
        "rain held by a crown in leaf over the weight above a section, low end of 0.10 to 0.15; counts only "
        "where leaves are counted",
        "rain_held",
        low=0.0,
        high=0.3,
    )
    snow: float = setting(
        0.0,
        "kg/m2",
        "snow or ice seen lying on the bare limbs, on their plan area; 0 = none was reported",
        "project_choice",
        low=0.0,
        high=60.0,
    )
    hot_day: bool = setting(
        False,
        "",
        "climbed in heat: nothing borne before counts, for sound limbs drop then without a sign",
        "summer_drop",
    )

    @property
    def counted_years(self) -> int:
        """Years of wind that count: none from before a reduction or a new exposure, none after damage."""
        if self.changed == DAMAGED or self.exposure == ENCLOSED or self.hot_day:
            return 0
        return self.years if self.changed == UNCHANGED else min(self.years, self.changed_years)
