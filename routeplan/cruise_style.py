"""How the organiser's sheet of a group cruise looks: black on white, on A4 or letter, and on a phone."""

from __future__ import annotations

from typing import TYPE_CHECKING

from routeplan.sheet_style import write_style

if TYPE_CHECKING:
    from routeplan.sheet_style import Paper

__all__ = ["write_cruise_style"]

_CRUISE = """
.lists th, .lists td { vertical-align: top; font-size: 9pt; line-height: 1.16; padding: .35mm .7mm; }
.lists th { vertical-align: bottom; }
.lists { margin-bottom: .8mm; }
.lists .time { font-weight: 700; white-space: nowrap; }
.lists .right { text-align: right; }
.lists .name { font-weight: 700; }
.lists .turn { font-size: 10.5pt; font-weight: 700; white-space: nowrap; }
.lists .over { background: #e4e4e4; font-weight: 700; border-top: .5mm solid #000; border-bottom: .3mm solid #000;
  -webkit-print-color-adjust: exact; print-color-adjust: exact; }
.lists tr.head { break-after: avoid; }
.lists tr.sum td { border-bottom: .5mm solid #000; font-size: 8.5pt; line-height: 1.14; }
.lists tr.sum { break-before: avoid; }
.lists .small { font-size: 8.5pt; }
.ask { break-after: avoid; }
.lists .tick { white-space: nowrap; text-align: center; padding-left: .2mm; padding-right: .2mm; }
.lists .tick .box { margin: 0; }
.heed { font-weight: 700; border: .5mm solid #000; padding: .6mm 1.2mm; margin-top: .8mm; }
.queues { break-inside: auto; }
.queue { break-inside: avoid; }
.shore p { margin: .8mm 0; line-height: 1.5; }
.rules { font-size: 8.5pt; line-height: 1.14; break-inside: avoid; }
@media screen and (max-width: 640px) {
  .lists, .lists tbody { display: block; width: auto; }
  .lists thead, .lists colgroup { display: none; }
  .lists tr { display: grid; grid-template-columns: repeat(6, 1fr); padding: 6px 0; border-bottom: 1px solid #000; }
  .lists td { display: block; border: 0; padding: 2px 4px; text-align: left; font-size: 15px; line-height: 1.3;
    grid-column: span 2; }
  .lists td.right, .lists td.tick { text-align: left; }
  .lists td[data-is]::before { display: block; content: attr(data-is); font-size: 12px; font-weight: 400; }
  .lists td:empty { display: none; }
  .lists td.wide, .lists td.over { grid-column: 1 / -1; }
  .lists td.half { grid-column: span 3; }
  .lists td.over { border-top: 2px solid #000; }
  .lists tr.head { padding: 0; border: 0; }
  .lists tr.sum td { font-size: 14px; border: 0; }
  .lists .turn { font-size: 19px; }
  .queue td.tick, .calls td.tick { grid-column: span 1; order: -3; padding-top: 4px; }
  .queue td.name.half { grid-column: span 3; order: -2; }
  .queue td.right.name { grid-column: span 2; order: -1; text-align: right; font-size: 18px; white-space: nowrap; }
  .queue td.right.name::before { display: none; }
  .queue td.small { order: 1; font-size: 14px; }
  .calls td.name { grid-column: span 5; order: -2; }
  .rules, .heed, .ask { font-size: 14px; }
  .shore p { line-height: 1.9; }
}
"""


def write_cruise_style(paper: Paper, foot: str) -> str:
    """Write the style sheet: that of the passage sheet, with what a cruise's tables want besides.

    Parameters
    ----------
    paper
        What it is printed on.
    foot
        What stands at the bottom of each page, beside its number: any text.

    Returns
    -------
    CSS.
    """
    return write_style(paper, foot) + _CRUISE
