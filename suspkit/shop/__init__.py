"""The shop's papers: job log, training record, work sheet, article."""
