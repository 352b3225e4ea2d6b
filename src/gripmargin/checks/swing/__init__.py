"""Does the part stay on while it swings on its soft pads, and has the swing died down when it is placed?"""
