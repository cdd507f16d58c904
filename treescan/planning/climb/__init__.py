"""How is the whole climb planned: sets, second lines, redirects, rescue, limb walks?"""
