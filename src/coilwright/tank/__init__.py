"""The electrical side: source, transformer, leads, capacitors and the coil as a two-terminal impedance."""
