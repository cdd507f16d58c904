"""The standing safety text. It goes on every sheet, page and export and cannot be turned off."""

from __future__ import annotations

CAUTIONS: dict[str, str] = {
    "planning_aid": "Planning aid. Not an inspection, not a certificate, not permission to climb. A scan shows outer shape on one date. "
    "It cannot show decay, cracks, included bark, root damage, hollow wood or what happened since. Every anchor named here is a "
    "candidate to be inspected, load-tested and accepted or refused by a trained and competent climber on the day.",
    "local_rules": "Follow your local law, standard and code of practice, the equipment makers' instructions and your employer's rules; "
    "where they differ from this sheet they win. Work at height only with training, supervision, a second person and a rescue plan.",
    "safer_access": "If safer access (ground, platform) is reasonable, use it.",
    "unsure": "If you are unsure: do not climb; ask a more qualified person.",
    "numbers": "Forces are estimates for stated masses, rope paths and friction. Shock loads from slack or a fall can be many times higher "
    "(ratios above 10 have been measured). No strength value here is a rating.",
    "basal": "Basal anchor: load at the top can approach twice your weight, and more with preload. Both legs can be cut. Keep the base leg "
    "out of the drop zone and saw area; name who operates it.",
    "redirect": "A redirect changes size and direction of load at the main anchor too. Check both, and the swing if the redirect fails.",
    "swing": "Dashed arc = where you go if you slip. Add lanyard, second line or redirect before going on.",
    "condition": "Dead, burnt, storm-damaged, fungus, movement at the base, ivy-clad: not ranked. Inspection by a competent person first.",
    "electricity": "Electricity: no clearance shown here is a safe distance. Treat every line as live. Conductors thinner than the point "
    "spacing may be missing from the scan. Contact the network operator; only authorised persons inside the local approach distance; rescue "
    "near energised parts only after isolation.",
    "throwing": "Throwing: helmets and eye protection; call out; nobody under the arc or behind the launcher; check for lines, windows, roads.",
    "rescue": "Rescue: a suspended, unresponsive person is an emergency measured in minutes. Never start a climb without a named, equipped "
    "rescuer, an access route and a way to call help.",
    "removal": "Removal: an anchor disappears at the stage its limb is cut. Never attach life support to, or above the cut on, a piece being "
    "removed.",
    "wildlife": "Wildlife and heritage: nests, roosts, insects and protected trees: check law and season before work.",
    "weather": "Weather: plan void in wind, ice, lightning or after a storm until re-inspected.",
    "research": "Research: only climbers trained for trees; rock-climbing methods have caused harmful advice in print.",
    "silence": "Silence is not safety: grey = not scanned. Grey may hold a limb, a crack or a wire.",
}
"""Key and full text, in the order they are printed."""


def all_cautions() -> tuple[str, ...]:
    """Every caution in printing order."""
    return tuple(CAUTIONS.values())
