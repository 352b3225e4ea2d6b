"""Changes of the physics, one at a time, each of which some test must feel.

`changes` makes them from the source: a sign, a comparison, a constant, a term, the larger for the smaller. `chosen`
picks a fixed share of them by what they change, not by where it stands, so that code may move. `python -m mutants` runs
the tests nearest to each on a copy of the tree and lists what no test felt:
``PYTHONPATH=src:tests python -m mutants``.
"""
