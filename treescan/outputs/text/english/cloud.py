"""English sentences and words of `cloud`, by code."""

from __future__ import annotations

TEXTS: dict[str, str] = {
    # versions and encodings
    "file_version": "{version}",
    "las_version": "{version}, point format {point_format:n}",
    "pcd_version": "{version}, {encoding:word}",
    "ply_encoding": "{encoding:word}",
    "text_layout": "text, split at {delimiter}, columns {columns}",
    # units of length
    "unit_metres": "<metres|meters>",
    "unit_feet": "international feet",
    "unit_us_feet": "US survey feet",
    "unit_centimetres": "<centimetres|centimeters>",
    "unit_millimetres": "<millimetres|millimeters>",
    "unit_degrees": "degrees",
    "unit_of_its_own": "units of {size:m4}",
    # what the file says and does not say
    "extension_misleads": "The file name ends in {extension}, but the file holds {format:word}. It was "
    "read as that.",
    "reference_not_understood": "The coordinate reference system in the file is not understood ({said}). "
    "The map is unknown.",
    "empty_scans": "{n:n} of {of:n} scans in the file {n|holds|hold} no points.",
    "damaged_records": "{n:n} {n|record|records} in front of the points {n|is|are} damaged and "
    "{n|was|were} left out. The points themselves read well.",
    "more_points_than_claimed": "The file has room for {n:n} more {n|point|points} than its header claims. "
    "They were not read.",
    "tiny_scale_factors": "The scale factors in the header are unusually small (about 1e{power}). The "
    "coordinates read back well.",
    "viewpoint_not_applied": "The file states a viewpoint other than zero. It was not applied: the points "
    "stand where the file puts them.",
    "decimal_comma": "Numbers are written with a decimal comma.",
    "point_number_column": "The first column counts up. It was taken as a point number, not as a coordinate.",
    "columns_without_names": "The file names no columns. The first three numbers were taken as x, y and z; "
    "{left_out:n} further {left_out|column was|columns were} left out.",
    "bounds_do_not_hold": "The bounds in the header do not enclose the points. The points were believed.",
    # unit and map
    "two_plan_units": "The header names two units for the plan: {used} and {other}. That of the reference "
    "system was used ({used}).",
    "unit_from_user": "The unit was set to {unit} by the user.",
    "reference_in_another_unit": "The reference system in the file has another unit, so the map is taken "
    "as unknown.",
    "perhaps_degrees": "The plan coordinates look like degrees, but the file names no reference system. "
    "They were taken as <metres|meters>, which is probably wrong. Export the cloud again in a map "
    "projection in <metres|meters>.",
    "no_unit_stated": "The file states no unit. <Metres|Meters> were taken.",
    "no_height_unit_stated": "The file states no unit for heights. They were taken to be in {taken}.",
    "no_map": "The file names no map that is understood. The coordinates are kept as a local frame.",
    "converted_to_metres": "Coordinates were converted to <metres|meters> (they were in {plan}[ in plan, "
    "heights in {heights}]).",
    "projected_from_degrees": "Coordinates are in degrees. They were projected to {zone} ({crs}).",
    "projected_from_earth_centred": "Coordinates count from the <centre|center> of the earth. They were "
    "projected to {zone}, with heights above the ellipsoid.",
    # left out
    "lines_skipped": "{n:n} {n|line|lines} without three numbers {n|was|were} skipped.",
    "impossible_coordinates_left_out": "{n:n} {n|point has|points have} impossible coordinates (no number, "
    "or on no map) and {n|was|were} left out.",
    "beyond_the_window": "{n:n} {n|point lies|points lie} too far from the asked place to matter and {n|was|were} "
    "not read.",
    "marked_points_left_out": "{n:n} {n|point|points} {why:word} {n|was|were} left out.",
    "duplicates_left_out": "{n:n} {n|point lies|points lie} exactly where another does ({share:%} of the "
    "file) and {n|was|were} left out.",
    "map_place": "x {x:x1} y {y:x1} z {z:x1}",
    "strays_left_out": "{n:n} {n|point|points} far from everything else {n|was|were} left out as stray (in "
    "<metres|meters> of the map: {places:names}[; {more:n} {more|further place|further places}]).",
    # hard to believe
    "step_along_axis": "{axis} {step:mm}",
    "coordinates_on_a_grid": "Coordinates lie on a grid ({along:names}). The scan was rounded or thinned: "
    "nothing finer can be measured.",
    "single_precision": "Coordinates up to {largest:n} are stored in single precision, so they are rounded "
    "to steps of {step:mm}. Shift them to a local origin, or store double precision, when exporting.",
    "far_too_tall": "Something rises {rise:m0} within {width:m0} of plan, in the <metres|meters> "
    "[{?unit_stated}the file states][{!unit_stated}taken, for the file states no unit]. The unit is "
    "probably <millimetres|millimeters> or <centimetres|centimeters>. Nothing was converted: check the "
    "unit.",
    "taller_than_any_tree": "Something rises {rise:m0} within {width:m0} of plan, in the <metres|meters> "
    "[{?unit_stated}the file states][{!unit_stated}taken, for the file states no unit]. No tree is so "
    "tall; in feet it would be {if_feet:m0}. Nothing was converted: check the unit.",
    "too_small_for_a_tree": "The whole cloud measures only {size:mm}, in the <metres|meters> "
    "[{?unit_stated}the file states][{!unit_stated}taken, for the file states no unit]. That is too small "
    "for a tree: check the unit.",
    # several scans
    "scans_agree": "{share:%} of what stands off the ground overlaps; half of it lies within {median:mm}, "
    "95 % within {high:mm}",
    "scan_fitted_from_its_own_frame": "{scan} had a frame of its own and was fitted onto {onto}: turned "
    "{turn:deg2} about the vertical, tilted {tilt:deg2}, shifted {shift:m2}. Fit: {fit}.",
    "scan_left_in_place": "{scan} lies on {onto} as it was read and was not moved. Fit: {fit}.",
    "scan_moved_a_little": "{scan} shares the frame of {onto} but lay up to {off:m2} off. It was fitted "
    "onto it and turned {turn:deg2} about the vertical. Fit: {fit}.",
}
WORDS: dict[str, str] = {
    "withheld": "flagged as withheld",
    "classed_as_noise": "classed as noise",
    "invalid_by_scanner": "flagged as invalid by the scanner",
    "impossible_coordinates": "with impossible coordinates",
    "exact_duplicates": "exact duplicates",
    "stray_points": "stray",
    "ascii": "ASCII",
    "binary_little_endian": "binary, little endian",
    "binary_big_endian": "binary, big endian",
    "binary_compressed": "binary, compressed",
    "las": "LAS or LAZ",
    "ply": "PLY",
    "pcd": "PCD",
    "e57": "E57",
    "text": "plain text",
}
