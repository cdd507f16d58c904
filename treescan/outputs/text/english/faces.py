"""English sentences and words of `faces`, by code."""

from __future__ import annotations

TEXTS: dict[str, str] = {
    # what `inspect` prints, one fact a line
    "inspect_file": "file      {file}",
    "inspect_format": "format    {format} ({version})[, written by {program}]",
    "inspect_points": "points    {kept:n} of {read:n}[; left out: {left_out}]",
    "inspect_left_out": "{n:n} {why:word}",
    "inspect_axis": "{axis}         {low:x3} to {high:x3} m",
    "inspect_size": "size      {x:x2} x {y:x2} x {z:x2} m",
    "inspect_unit": "unit      {unit}[, heights in {heights}]"
    "[{?converted} in the file, converted to <metres|meters>]",
    "inspect_map_unknown": "map       unknown, local frame[ (the file says: {said})]",
    "inspect_map": "map       {name} ({crs})[; the file itself is in {own}]",
    "own_definition": "own definition",
    "another_unit_of_the_map": "another unit of the same map",
    "inspect_density": "density   {density:n} points per square <metre|meter> of plan; spacing "
    "[{spacing:mm} (median distance to the next point)][{!measured}not measurable]",
    "inspect_columns": "columns   [{columns}][{!any}coordinates only]",
    "inspect_classes": "classes   {classes}",
    "inspect_class": "{number} {name:word}: {n:n}",
    "inspect_scans": "scans     {n:n}[, places of {placed:n} known]",
    "inspect_note": "note      {note}",
    # what the commands print when they are done
    "summary_tree": "Tree: [dbh {dbh:cm1}][{!dbh_seen}dbh not seen well enough], height {height:m}, "
    "{limbs:n} {limbs|limb|limbs}, {unions:n} {unions|union|unions}. Scan: {verdict:word}.",
    "summary_note": "Note: {note}",
    "summary_counts": "{usable:n} {usable|candidate|candidates} to inspect, {refused:n} not ranked.",
    "summary_no_candidate": "No candidate was found.",
    "summary_anchor": "{rank}. {union} at {height:m}, {system:word}, {verdict:word}: {force:kN} on the union, strength over stress "
    "{median:x1}, {low:x2} at the low end.[{?tied} Level with the next.][ {why}]",
    "summary_statement": "Stated: {statement}",
    "summary_set": "Set: {finding}",
    "summary_removal": "Removal: {alarm}",
    "summary_first": "First: {finding}",
    "summary_approach": "Approach: {finding}",
    "wrote_tree": "Wood graph: {path}",
    "wrote_report": "Report: {path}",
    "again_same": "All {n:n} files have the same bytes as those of the run that was repeated.",
    "again_differs": "{n:n} {n|file differs|files differ} from the run that was repeated: {files}. Compare the versions in the two run.json.",
    "wrote_inventory": "Joined inventory: {path}",
    "throws_spread": (
        "{n:n} {n|throw|throws} with {method:word}: spread {side:deg1} to the side, {up:deg1} up and down, "
        "{speed:%} of the speed. On average {off_side:deg1} to the [{!left}right][{?left}left], "
        "{off_up:deg1} too [{!low}high][{?low}low], {off_speed:%} too [{!slow}fast][{?slow}slow]."
    ),
    "use_settings_with": "Use it with: treescan plan ... --settings {path}",
    # the species, asked for at a terminal
    "species_matters": "{used}\nThe species matters here: as {botanical} ({mor:MPa}) {changed:n} of {candidates:n} candidates would be judged otherwise.",
    "species_asked": "Which species is it, by its common or botanical name? (Enter alone: not known) ",
    "species_left_as_it_is": "The species is left as it was: take the weakest it can be for true until somebody names it.",
    # how files of the user were read
    "deadwood_work": "{n:n} {n|work point lies|work points lie} on limbs that the scan suspects dead. The "
    "scan is a poor judge of dead wood: look from the ground.",
    "read_as_own_coordinates": "{file} was read in the cloud's own coordinates.",
    "read_as_system": "{file} was read as {system}.",
    "height_above_sea": "Feature {number}, {kind}[ “{name}”]: its z was read in the cloud's height system, "
    "{low:m} to {high:m} above ground. If it is meant above ground, write it as height_m.",
    "height_above_ground": "Feature {number}, {kind}[ “{name}”]: its z was read as height above ground, "
    "{low:m} to {high:m}; in the cloud's height system it would lie under ground or higher than anything.",
    # how a run ends early
    "call_not_understood": "treescan: {message} See treescan --help.",
    "empty_argument": "treescan: an argument is empty: a name of a file or folder, or a value, is missing.",
    "stopped": "treescan: stopped. No half-written file is left.",
    "out_of_memory": "treescan: this machine has too little memory for the cloud. Cut it to the tree and "
    "its surroundings, or thin it.",
}
WORDS: dict[str, str] = {
    "class_0": "never classified",
    "class_1": "unclassified",
    "class_2": "ground",
    "class_3": "low vegetation",
    "class_4": "medium vegetation",
    "class_5": "high vegetation",
    "class_6": "building",
    "class_7": "low noise",
    "class_8": "key point",
    "class_9": "water",
    "class_10": "rail",
    "class_11": "road",
    "class_12": "overlap",
    "class_13": "wire guard",
    "class_14": "wire conductor",
    "class_15": "tower",
    "class_16": "wire connector",
    "class_17": "bridge",
    "class_18": "high noise",
    "class_own": "own class",
}
"""Classes by ASPRS LAS 1.4 R15, table 17. Programs also use classes their own way, so a name is a hint."""
