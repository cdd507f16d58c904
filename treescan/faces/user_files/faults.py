"""How are several faults of a user's file told in one go?"""

from __future__ import annotations

from collections.abc import Sequence

from treescan.errors import BadInput

MOST = 20
"""Faults told at once; of more the first are told, with how many there are."""


def raise_together(faults: Sequence[BadInput], file: str | None = None) -> None:
    """Nothing without faults, the fault itself where there is one, else one BadInput that tells each with its
    remedy."""
    if not faults:
        return
    if len(faults) == 1:
        raise faults[0]
    told = []
    for fault in faults[:MOST]:
        where = f"{fault.file}: " if fault.file and fault.file != file else ""
        told.append(f"{where}{fault.what}" + (f" ({fault.remedy})" if fault.remedy else ""))
    raise BadInput(
        f"{len(faults)} faults" + (f", of which the first {MOST}" if len(faults) > MOST else "") + ": "
        f"{'; '.join(told)}",
        file=file,
    )
