"""Which anchors are worth judging, and what would settle an open question?"""
