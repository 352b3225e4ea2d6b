"""Do press and release do what they are for, in tray and nest?"""
