"""One house: its series, its plan, its year, what an outage meets, its outages, recharge, reliability, storms.

In comes a `Site`; out go a `HouseYear` and a `RideThrough`. `asked` -> `targets` -> `walked` -> `year` is the way of a
year; `outage_met` -> `first_priority` -> `ride` that of its outages.
"""
