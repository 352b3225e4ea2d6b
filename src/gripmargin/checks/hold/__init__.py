"""Does the part stay on the pads at every carried sample?"""
