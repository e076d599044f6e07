"""Figures of the library: agreement with textbooks, speed, and what later studies measure.

Run ``python -m benchmarks NAME``; each benchmark is one file that can also be imported.
"""
