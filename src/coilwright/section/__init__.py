"""The half-section as drawn: outlines of bodies and turns, and their graded meshes of nine-node quadrilaterals."""
