"""Who the job is for and who does it: printed on the proposal and on the crew's sheets, never used in a calculation."""

from __future__ import annotations

import datetime as dt
from typing import Annotated

from pydantic import Field, field_validator

from profiles.noun import BadInput, Noun


class Job(Noun):
    """Client, firm and date of a proposal.

    Examples
    --------
    >>> Job(client="A. Client", date="2025-03-01").valid_until
    '2025-03-31'
    """

    client: str | None = Field(None, description="whom it is for")
    address: str | None = Field(None, description="where the work is done")
    firm: str | None = Field(None, description="who offers the work")
    licence: str | None = Field(None, description="licence of the firm, as its authority writes it")
    prepared_by: str | None = Field(None, description="who prepared the proposal")
    number: str | None = Field(None, description="number of the job or of the proposal")
    date: str | None = Field(None, description='day of the proposal, ISO such as "2025-03-01"')
    valid_days: Annotated[int, Field(ge=1, le=3650)] = Field(30, description="days that the proposal holds")

    @field_validator("date")
    @classmethod
    def _is_a_day(cls, date: str | None) -> str | None:
        try:
            fits = date is None or dt.date.fromisoformat(date).isoformat() == date
        except ValueError:
            fits = False
        if not fits:
            raise BadInput("must be an ISO date", value=date, way_out='write "2025-03-01"')
        return date

    @property
    def valid_until(self) -> str | None:
        """Last day on which the proposal holds; None where it has no date."""
        if self.date is None:
            return None
        return (dt.date.fromisoformat(self.date) + dt.timedelta(days=self.valid_days)).isoformat()
