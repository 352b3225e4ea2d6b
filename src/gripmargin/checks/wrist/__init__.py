"""May the robot carry gripper and part at its wrist?"""
