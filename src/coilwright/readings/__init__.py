"""Instrument files and captures, read into plain records, and what can be read off them. No physics beyond signal
analysis.
"""
