"""What circuits and houses use: the branch circuit, loads as people know them, shapes and appliances.

In come tables of a site file and what a meter gave; out go kW on the hour axis, one series a circuit. Published shapes
and appliance figures stand in `profiles/library` with their sources. Nothing here knows a battery.
"""
