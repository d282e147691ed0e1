"""The report of an archive: measured from its tables, written as one HTML page or as PDF."""
