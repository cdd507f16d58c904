"""Floor 9, faces: the command line now, the planner's page and the city run later. No arithmetic here."""
