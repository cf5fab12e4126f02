"""What goes to bench and store as tables: winding card, parts, cuts, water, wiring, capacitors, settings."""

from __future__ import annotations

from coilwright.pack.contents import PackContents
from coilwright.pack.supply_tables import bank_as_built, capacitor_tables, water_table, wiring_table
from coilwright.pack.tables import Column, Table
from coilwright.pack.winding_tables import cut_list, parts_list, settings_table, winding_card, winding_steps_table
from coilwright.pack.workshop_drawings import not_drawn


def tables(contents: PackContents) -> list[Table]:
    """Every table of the workshop; one whose section the job lacks says so in its only row."""
    undrawn = not_drawn(contents)
    named = Table("drawings-not-made", "Drawings not made", (Column("drawing"), Column("why")), tuple(undrawn.items()))
    return [
        winding_card(contents),
        winding_steps_table(contents),
        parts_list(contents),
        cut_list(contents),
        water_table(contents),
        wiring_table(contents),
        *capacitor_tables(contents),
        bank_as_built(contents),
        settings_table(contents),
        *([named] if undrawn else []),
    ]
