"""Every check that the panel must pass, one finding at a time and no overall verdict."""

from __future__ import annotations

from typing import TYPE_CHECKING

from profiles.noun import BadInput
from simulate.panel.charging import charging_findings
from simulate.panel.conductor import conductor_findings
from simulate.panel.finding import Finding, by_edition
from simulate.panel.layout import Layout, Simulated
from simulate.panel.motor import motor_findings
from simulate.panel.neutral import neutral_findings
from simulate.panel.place import place_findings
from simulate.panel.power import power_findings
from simulate.panel.raceway import raceway_findings
from simulate.panel.service import service_findings
from simulate.panel.solar import solar_findings
from simulate.panel.source import source_findings
from simulate.panel.spaces import space_findings
from simulate.panel.transfer import transfer_findings

if TYPE_CHECKING:
    from simulate.site import Site

FAMILIES = (
    neutral_findings, source_findings, power_findings, motor_findings, space_findings, conductor_findings,
    raceway_findings, charging_findings, service_findings, solar_findings, transfer_findings, place_findings,
)  # fmt: skip


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
    >>> from simulate.site import read_site
    >>> sorted({finding.verdict for finding in check_panel(read_site())} - {"marginal", "pass", "fail", "not-assessed"})
    []
    """
    layout = Layout(site, simulated or Simulated())
    try:
        found = [one for family in FAMILIES for one in family(layout)]
    except BadInput as error:
        raise error.at(site.file) from None
    return tuple(by_edition(one, site.site.code_edition) for one in found)
