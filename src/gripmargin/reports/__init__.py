"""A report in the forms people and programs read; pure functions of the report."""
