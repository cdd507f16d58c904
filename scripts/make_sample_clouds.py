"""Make the sample scans and the truth beside them.

python scripts/make_sample_clouds.py                 all of them into sample_clouds/
python scripts/make_sample_clouds.py wick_end        one
python scripts/make_sample_clouds.py --pictures DIR  also draw what was scanned
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from made_up.pictures import picture
from made_up.samples import SAMPLES
from made_up.truth import nearest_kept, write_labels, write_laz, write_truth

THINNEST = 0.02
"""Smallest diameter in the truth files [m]."""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("names", nargs="*", help=f"of {', '.join(SAMPLES)}")
    parser.add_argument("-o", "--out", type=Path, default=Path(__file__).parents[1] / "sample_clouds")
    parser.add_argument("--pictures", type=Path)
    given = parser.parse_args()
    given.out.mkdir(parents=True, exist_ok=True)
    for name in given.names or SAMPLES:
        began = time.perf_counter()
        sample = SAMPLES[name]()
        scan = sample.scan()
        laz = given.out / f"{name}.laz"
        write_laz(scan, sample.place, laz)
        write_truth(sample.scene, scan, sample.where, sample.instrument, sample.place, sample.about, given.out / f"{name}.truth.json", THINNEST)
        write_labels(scan, nearest_kept(sample.scene, THINNEST), given.out / f"{name}.labels.npz")
        print(f"{name}: {len(scan):,} points, {laz.stat().st_size / 1e6:.1f} MB, {time.perf_counter() - began:.0f} s")
        if given.pictures:
            given.pictures.mkdir(parents=True, exist_ok=True)
            picture(scan, given.pictures / f"{name}.png")


if __name__ == "__main__":
    main()
