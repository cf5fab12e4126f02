"""How far each thing may be out: stations fed together, margins, yield, and what a reading would show."""
