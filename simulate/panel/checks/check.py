"""Every check that the panel must pass, one finding at a time and no overall verdict."""

from __future__ import annotations

from typing import TYPE_CHECKING

from profiles.noun import BadInput
from simulate.panel.checks.charging import charging_findings
from simulate.panel.checks.conductor import conductor_findings
from simulate.panel.checks.feeder import feeder_findings
from simulate.panel.checks.finding import Finding, by_edition
from simulate.panel.checks.layout import Layout, Simulated
from simulate.panel.checks.motor import motor_findings
from simulate.panel.checks.motor_volts import motor_volts_findings
from simulate.panel.checks.neutral import neutral_findings
from simulate.panel.checks.place import place_findings
from simulate.panel.checks.power import power_findings
from simulate.panel.checks.protection import protection_findings
from simulate.panel.checks.raceway import raceway_findings
from simulate.panel.checks.service import service_findings
from simulate.panel.checks.solar import solar_findings
from simulate.panel.checks.source import source_findings
from simulate.panel.checks.spaces import space_findings
from simulate.panel.checks.transfer import transfer_findings

if TYPE_CHECKING:
    from simulate.site.site import Site

FAMILIES = (
    neutral_findings,
    source_findings,
    power_findings,
    motor_findings,
    motor_volts_findings,
    space_findings,
    conductor_findings,
    raceway_findings,
    feeder_findings,
    charging_findings,
    service_findings,
    solar_findings,
    transfer_findings,
    protection_findings,
    place_findings,
)


def check_panel(site: Site, *, simulated: Simulated | None = None) -> tuple[Finding, ...]:
    """Check the sub-panel of a site; there is no overall pass and no score.

    Parameters
    ----------
    site : Site
    simulated : Simulated, optional
        What only the simulation knows; it is shown beside the figures and is never a verdict.

    Returns
    -------
    tuple of Finding
        A check that does not apply yields none. Without `site.code_edition` the Code's own checks are not assessed.

    Raises
    ------
    BadInput
        A conductor size, a motor power or a motor voltage that the tables do not hold.

    Examples
    --------
    >>> from simulate.site.site import read_site
    >>> sorted({finding.verdict for finding in check_panel(read_site())} - {"marginal", "pass", "fail", "not-assessed"})
    []
    """
    layout = Layout(site, simulated or Simulated())
    try:
        found = [one for family in FAMILIES for one in family(layout)]
    except BadInput as error:
        raise error.at(site.file) from None
    return tuple(by_edition(one, site.site.code_edition) for one in found)
