"""Charts of runs, recipes, calibrations and audits."""
