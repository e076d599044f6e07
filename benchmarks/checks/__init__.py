"""Verification cases by area: each function solves one case through the public interface and knows no answer."""
