"""What the client reads on the crew's sheets: modelled hours in sentences."""

from __future__ import annotations

from simulate.document.study import Study
from simulate.document.words import hours_text
from simulate.house.storm import storm_stated
from simulate.panel.sheets.sheets import reissued, sheets, stopped
from simulate.physics.outages.spread import SEASONS, nine_in_ten
from simulate.site.site import Site


def client_answers(study: Study) -> dict[str, str]:
    """Modelled hours in sentences for the client's page.

    Parameters
    ----------
    study : Study

    Examples
    --------
    >>> from simulate.document.study import study
    >>> list(client_answers(study()))
    ['How long does it last?', 'In winter, nine times in ten', 'In summer, nine times in ten']
    """
    ride, storm = study.ride, study.storm
    out = {"How long does it last?": study.answer["hours"]["text"]}
    for name in ("winter", "summer"):
        cases = [(one, nine_in_ten(one.in_months(SEASONS[name]))) for one in (ride, storm)]
        usual, wild = (hours_text(hours, one.horizon_h) for one, hours in cases)
        storm_text = (
            f"{wild} in the weather that causes outages" if storm_stated(study.site) else "storm loads not stated"
        )
        out[f"In {name}, nine times in ten"] = f"{usual} as usual; {storm_text}."
    if ride.house.never_carried:
        out["What is never carried?"] = ", ".join(ride.house.never_carried)
    return out


def sheets_of(study: Study, assignment=None, built: tuple | None = None) -> dict:
    """The crew's sheets of a study, with the client's sentences and the owner's list; what stops the job first.

    Parameters
    ----------
    study : Study
    assignment : Assignment, optional
    built : (Site, Built), optional
        The site as it was drawn and what readings made of it: the sheets are reissued.
    """
    answers = client_answers(study)
    made = sheets(study.site, study.findings, answers, assignment=assignment, switch_off=study.switch_off.text)
    made = made if built is None else reissued(made, *built)
    return stopped(made, [one["text"] for one in study.answer["stop"]])


def job_line(site: Site) -> str:
    """Who the job is for and who does it, in one line; "" where the site file does not say.

    Examples
    --------
    >>> from simulate.site.site import read_site
    >>> job_line(read_site()).startswith("R. Alder (invented), 12 Alder Lane")
    True
    """
    job = site.job
    licence = f"licence {job.licence}" if job.licence else None
    said = (job.client, job.address, job.firm, licence, job.prepared_by, job.number, job.date)
    return ", ".join(one for one in said if one)
