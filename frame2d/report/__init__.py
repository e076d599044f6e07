"""The campaign's report: one self-contained HTML file."""
