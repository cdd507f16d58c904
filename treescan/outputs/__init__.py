"""Floor 8, outputs: the files a crew, a planner or a researcher opens."""
