"""Does the part stay on in the motion that the robot really made?"""
