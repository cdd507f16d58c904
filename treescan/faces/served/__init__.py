"""How does the planner's page ask, and what does it get?"""
