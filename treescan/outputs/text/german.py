"""German: the commonest sentences, to show that a language is one table. What is missing here is said in English."""

from __future__ import annotations

TEXTS: dict[str, str] = {
    "list_more": "{n} weitere",
    "list_none": "keine",
    "ask_seen": "Was hat der Scan gesehen?",
    "ask_line": "Bringe ich eine Leine hinauf?",
    "ask_hold": "Hält es?",
    "ask_fail": "Was, wenn es bricht?",
    "ask_reach": "Erreiche ich die Arbeit?",
    "ask_order": "In welcher Reihenfolge?",
    "margin": "{low:x2?}[ am unteren Ende (Median {median:x2})]",
    "place_stem": "Stamm",
    "place_leader": "[{rank:ordinal} ]{side:compass}er Stämmling",
    "place_middle_leader": "[{rank:ordinal} ]mittlerer Stämmling",
    "place_limb": "[{rank:ordinal} ]{side:compass}er Ast",
    "place_named": "{axis}[, {limb}][, {nth:ordinal} Gabelung][, am Ast nach {points:compass}], {height:m}",
    "place_small": "{axis}[, {limb}], kleine Gabelung, {height:m}",
    "place_over_limb": "{place}; der Ast darüber zeigt {points:compass}",
    "place_round_stem": "{place}[, am Ast nach {points:compass}]; Seil um den Stamm",
    "place_from_stem": "{distance:m} {side:compass} vom Stamm",
    "over_no_candidate": "Aus diesem Scan lässt sich kein Ankerpunkt in eine Reihenfolge bringen.",
    "over_not_assessable": "Aus diesem Scan nicht zu beurteilen.",
    "over_tree": (
        "Der Baum ist {height:m?} hoch[, sein Stamm in Brusthöhe {dbh±sd:cm} dick].[{!dbh_seen} Der Stamm "
        "wurde in Brusthöhe nicht gesehen.] {unions:n} Gabelungen wurden erfasst; der Scan sah {seen:%?} "
        "der gezeichneten Astlänge."
    ),
    "throws_told": "[{few:n} bis ]{many:n} {many|Wurf|Würfe}",
    "over_line": (
        "Für {label} stehen Sie {stand}: {method:word}, Erfolg {chance:%} je Wurf[, im Mittel "
        "{throws:throws}]."
    ),
    "over_hold": (
        "{label} muss {force:kN?} tragen. Festigkeit zu Spannung am schwächsten Querschnitt: {margin}; "
        "dieser Querschnitt ist {section}.[ Wahrscheinlichkeit, dass er im gewöhnlichen Gebrauch bricht: "
        "{chance:chance}. Was ein Scan nicht sieht (Fäule, Risse, eingewachsene Rinde), ist mitgezählt.]"
        "[{?hidden} Es ist die größere Gefahr.]"
    ),
    "over_fail_ground": "Bricht {label}, so wurde kein Ast gefunden, der das Seil auffängt: rechnen Sie mit "
    "einem Sturz bis zum Boden. "
    "Sichern Sie sich ein zweites Mal.",
    "over_fail_next": "Bricht {label}, so fängt {next} das Seil nach einer Fallhöhe von {drop:m?} mit einer "
    "Spitzenkraft von {peak:kN?}.",
    "over_reach": "Von {label} aus ist {share:%?} der Arbeit erreichbar. Das Seil steht bis {angle:deg?} "
    "aus dem Lot[; ein Ausrutscher pendelt bis {swing:m}].",
    "over_order": "{n:n} {n|Schritt|Schritte} vom Boden bis {label}.[ Nehmen Sie {stock:m0} Kletterseil "
    "mit.] Prüfen Sie die Gabelung von Hand, bevor Sie "
    "sich ihr anvertrauen.",
    "section": "{d±sd:cm?} dick, {height:m} hoch; er würde durch {mode:word} versagen",
    "glance_first": "Zuerst zu prüfen",
    "glance_hold": "Festigkeit zu Spannung",
    "glance_fail": "Wenn es bricht",
    "glance_work": "Arbeit erreichbar",
    "page_ranking": "Reihenfolge",
    "front_first": "Zuerst zu prüfen: {place}",
    "sheet_first": "Zuerst zu prüfen: {label}, {height:m} hoch, {system:word}, {hardware:word}",
    "none_do_not_plan": "Planen Sie nach diesem Blatt keinen Aufstieg.",
}
WORDS: dict[str, str] = {
    "and": "und",
    "or": "oder",
    "not seen": "nicht gesehen",
    "over 99 %": "über 99 %",
    "under 0.1 %": "unter 0,1 %",
    "first": "1.",
    "second": "2.",
    "third": "3.",
    "fourth": "4.",
    "fifth": "5.",
    "sixth": "6.",
    "seventh": "7.",
    "eighth": "8.",
    "ninth": "9.",
    "tenth": "10.",
    "north": "nördlich",
    "north-east": "nordöstlich",
    "east": "östlich",
    "south-east": "südöstlich",
    "south": "südlich",
    "south-west": "südwestlich",
    "west": "westlich",
    "north-west": "nordwestlich",
    "candidate": "Kandidat",
    "inspect first": "zuerst prüfen",
    "not ranked": "nicht eingereiht",
    "not assessable": "nicht zu beurteilen",
    "holds": "hält",
    "holds within angle": "hält bis zu einem Seilwinkel",
    "holds if tested": "hält, wenn es die Belastungsprobe besteht",
    "doubtful": "zweifelhaft",
    "does not hold": "hält nicht",
    "bending": "Biegung",
    "compression": "Druck",
    "torsion": "Torsion",
    "shear": "Schub",
    "union tear-out": "Ausreißen der Gabelung",
    "splitting lengthwise": "Aufspalten in der Krümmung",
    "hand": "eine Hand",
    "two_hand": "beide Hände, zwischen den Beinen geschwungen",
    "launcher": "ein Wurfgerät",
    "rope on bark": "Seil auf der Rinde",
    "ring": "Ring",
    "sleeve": "Hülse",
    "pulley": "Rolle",
}
