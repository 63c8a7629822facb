"""The energy of a year in words."""

from __future__ import annotations

from profiles.html import table_html

ENERGIES = {
    "load": "house uses",
    "backed_up": "of it the circuits on the sub-panel",
    "solar": "roof could give",
    "import": "bought",
    "export": "sent out",
    "charge": "into the units (AC)",
    "discharge": "out of the units (AC)",
    "loss": "lost in the units, their own draw included",
    "curtailed": "solar that nobody used",
    "stored_change": "stored at the end less at the start",
}


def year_html(energy_kwh: dict[str, float]) -> str:
    """The energy of a year, one line for each flow that there is."""
    rows = [(text, f"{energy_kwh[name]:,.1f}") for name, text in ENERGIES.items() if energy_kwh.get(name)]
    return table_html(("energy of the modelled year", "kWh"), rows)
