"""Samples of a program to the motion of the tool frame."""
