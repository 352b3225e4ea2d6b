"""What checks and tuning come to, as data: verdicts, results, findings, reports."""
