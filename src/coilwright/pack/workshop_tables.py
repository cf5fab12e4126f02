"""What goes to bench and store as tables: winding card, parts, cuts, water, wiring, capacitors, settings."""

from __future__ import annotations

from coilwright.pack.contents import PackContents
from coilwright.pack.supply_tables import bank_as_built, capacitor_tables, water_table, wiring_table
from coilwright.pack.tables import Table
from coilwright.pack.winding_tables import cut_list, parts_list, settings_table, winding_card, winding_steps_table


def tables(contents: PackContents) -> list[Table]:
    """Every table of the workshop; one whose section the job lacks says so in its only row."""
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
    ]
