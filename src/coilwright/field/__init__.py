"""Eddy currents: the field of work coil and live bodies without an air mesh."""
