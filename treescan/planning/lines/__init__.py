"""What do lines to one climber from two anchors put on the wood, in this tree or hung to another?"""
