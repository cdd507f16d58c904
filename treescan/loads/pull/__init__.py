"""How hard does the climber pull: at rest, at work, in a stop, in a swing?"""
