"""A part on its pads, simulated a second time: by another hand, on other cells, along the path that the load takes.

It shares nothing with the checker but the description of a job, so that what both agree on is not one mistake made
twice. `cells` cuts the faces, `held` follows them while tray or nest hold the part, `hanging` while it hangs in the
air, `whole` puts the stretches of a program together, `jobs` draws jobs at random, and `against` sets both side by
side: ``PYTHONPATH=tests python -m simulator --jobs 300``.
"""
