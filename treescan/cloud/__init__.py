"""Floor 1, cloud intake: any supported file in, a `PointCloud` in local metres out."""
