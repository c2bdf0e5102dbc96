"""Import of a contractor's portfolio: read files, check every row, show what would change, write.

`read` or `from_rows` make tables of what was given, `check` makes the plan, `apply` writes it.
Upper apps add their own sheets to `parts`.
"""

from buildings.portfolio.columns import SHEETS, Column, Sheet
from buildings.portfolio.files import NoPortfolio, Row, Table, from_rows, read
from buildings.portfolio.plan import MOST_PROBLEMS_SHOWN, Draft, Part, Plan, Problem, check, parts
from buildings.portfolio.write import RowsWrong, apply, summary

__all__ = [
    "MOST_PROBLEMS_SHOWN",
    "SHEETS",
    "Column",
    "Draft",
    "NoPortfolio",
    "Part",
    "Plan",
    "Problem",
    "Row",
    "RowsWrong",
    "Sheet",
    "Table",
    "apply",
    "check",
    "from_rows",
    "parts",
    "read",
    "summary",
]
