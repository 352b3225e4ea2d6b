"""Would the part stay on if the robot stopped?"""
