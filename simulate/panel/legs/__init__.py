"""Which leg each single-pole circuit goes on.

Lives here: `bench` (what an assignment comes to), `programme` (the choice as a mixed-integer programme), `balance` (the
search in its order of wishes), `rewrite` (a changed copy of the site file).
Comes in: a `Site`, and a function that gives hours for some legs. Goes out: an `Assignment`, before and after.
Limits come first, then the leg that dies first, then balance, which is common practice and never a fail.
"""
