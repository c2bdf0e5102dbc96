"""Who goes where, when: route planning for a contractor's technicians, free of any framework.

A `Problem` (technicians with shifts and licences, visits with due windows, travel) goes in, a
`Plan` (timed routes, and a reason for every visit left out) comes out. Start with `run.plan`.
"""
