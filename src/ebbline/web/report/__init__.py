"""The report of a window: document, FHIR bundle."""
