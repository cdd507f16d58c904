"""What was changed at the page, in which order, and what does the plan say then?"""
