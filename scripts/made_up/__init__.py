"""Made-up trees and a simulated laser scanner: clouds whose every point and diameter is known.

Use (pytest puts scripts/ on the path; elsewhere `sys.path.insert(0, "scripts")`):

    from made_up.scenes import simple_scan
    cloud, truth, labels = simple_scan(1, "broadleaf", positions=3, leaf_on=False, points=1_000_000)

`cloud` is the `PointCloud` a user would read, `truth` the exact `WoodGraph` down to 1 cm diameter, `labels` a `scan.Scan`:
`labels.part` indexes `meshes.PARTS`, `labels.of("wood", "dead wood")` is a mask of the same length as the cloud.
Habits: broadleaf, conifer, codominant, three-stemmed, leaning, weeping, pollard, veteran (`habits.HABITS`). Ways of scanning: mode="tripod", "walk", "drone".
More control: `grow.grow` -> `scenes.make_scene` -> `scenes.places` -> `scenes.scan_scene`.
"""
