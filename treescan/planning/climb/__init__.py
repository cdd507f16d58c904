"""How is the whole climb planned: sets, redirects, second lines, rescue?"""
