"""Many stops: which settings, how much better, how sure.

==================  ===========================================================================
designs, variation  points in a box of parameters and assumptions; what a factor acts on
rails, plan         series of random rails; every candidate on every rail with every seed
task, candidate     one stop as plain data; a strategy found again anywhere, its source hashed
running, cluster    this process, a pool, or a Dask cluster: the same bits
store, export       one SQLite file a campaign, appended as stops finish; CSV and flat columns
campaign            what is missing of a plan is run; mixed machine types are compared
statistics          paired differences with intervals, Wilson, stops needed, supported rankings
analysis, report    a campaign's verdicts, as data and as text
tuning              screening, successive halving, non-dominated settings, held-out rails
tuned_file, -reader settings as a file that goes wherever a strategy's name goes
sensitivity         elementary effects and variance-based indices
worst               search for the rail that hurts a strategy most
commands            the command line's `campaign`, `tune`, `sensitivity`, `worst-rail`
==================  ===========================================================================
"""
