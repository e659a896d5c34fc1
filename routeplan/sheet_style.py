"""How a passage sheet looks: black on white, on A4 or letter, and on a phone."""

from __future__ import annotations

from typing import Literal, TypeAlias

__all__ = ["Paper", "write_style"]

Paper: TypeAlias = Literal["a4", "letter"]

_SIZES: dict[Paper, str] = {"a4": "210mm 297mm", "letter": "215.9mm 279.4mm"}  # ISO 216; ANSI/ASME Y14.1 A, from memory
_CHARTS: dict[Paper, str] = {"a4": "40mm", "letter": "31mm"}  # as high as leaves a run of 34 legs on two pages
_CONTROLS = 0x20
_SHEET = """
*, *::before, *::after { box-sizing: border-box; }
html { color-scheme: light; -webkit-text-size-adjust: 100%; }
body { margin: 0 auto; max-width: 196mm; padding: 4mm; color: #000; background: #fff;
  font: 9pt/1.2 "Liberation Sans", Arial, Helvetica, sans-serif; overflow-wrap: anywhere;
  font-variant-numeric: tabular-nums; }
h1, h2, p, ul, figure { margin: 0; padding: 0; }
ul { list-style: none; }
h1 { font-size: 14pt; line-height: 1.1; }
h2 { margin: 1.4mm 0 .3mm; font-size: 10.5pt; line-height: 1.15; break-after: avoid; }
.under { font-size: 9.5pt; }
.small { font-size: 8.5pt; line-height: 1.12; }
.nowrap { white-space: nowrap; }
b, strong { font-weight: 700; }
table { width: 100%; border-collapse: collapse; table-layout: fixed; }
thead { display: table-header-group; }
tr { break-inside: avoid; }
th, td { padding: .15mm .5mm; text-align: left; vertical-align: middle; border-bottom: .2mm solid #777; }
th { font-size: 8.5pt; font-weight: 700; line-height: 1.1; vertical-align: bottom; border-bottom: .5mm solid #000; }
.right { text-align: right; }
.keys { margin-top: 1mm; border: .5mm solid #000; }
.keys td { vertical-align: top; border: 0; border-right: .2mm solid #000; padding: .6mm 1.2mm;
  font-size: 8.5pt; line-height: 1.15; }
.keys td:last-child { border-right: 0; }
.keys b { display: block; font-size: 12pt; line-height: 1.15; }
.how { margin: .8mm 0; font-size: 8.5pt; line-height: 1.15; }
.helm td { border-left: .2mm solid #bbb; }
.helm td:first-child { border-left: 0; }
.helm .figure { font-size: 12pt; font-weight: 700; line-height: 1; text-align: right; white-space: nowrap; }
.helm .limit { border-left: .5mm solid #000; border-right: .5mm solid #000; font-size: 8.5pt; }
.helm .limit b { font-size: 12pt; line-height: 1; }
.helm .at { font-size: 11pt; font-weight: 700; white-space: nowrap; }
.helm .day { display: block; font-size: 8.5pt; font-weight: 400; white-space: normal; }
.helm .steer { font-size: 11pt; font-weight: 700; white-space: nowrap; text-align: right; }
.helm .bare { white-space: nowrap; text-align: right; }
.helm .to { font-size: 8.5pt; line-height: 1.08; }
.helm .limit { line-height: 1.08; }
.helm .band td { border-left: 0; border-top: .5mm solid #000; border-bottom: .5mm solid #000; font-size: 9pt;
  line-height: 1.12; }
.helm tr.last, .helm tr.near, .helm tr.stop { break-before: avoid; }
.helm tr.ahead { break-after: avoid; }
.helm .dark td { border-top-width: .8mm; border-bottom-width: .8mm; }
.helm .dark td, .helm .pale td { background: #e4e4e4; -webkit-print-color-adjust: exact; print-color-adjust: exact; }
.box { display: inline-block; width: 3.4mm; height: 3.4mm; margin-right: .8mm; border: .35mm solid #000;
  vertical-align: -.5mm; background: #fff; }
.tag { display: inline-block; padding: 0 .9mm; border: .35mm solid #000; border-radius: 2.2mm;
  font-weight: 700; text-align: center; line-height: 1.05; }
.tag.filled { color: #fff; background: #000; -webkit-print-color-adjust: exact; print-color-adjust: exact; }
.tag.end { border-radius: 0; }
.docks { margin-bottom: .6mm; }
.docks td { font-size: 8.5pt; vertical-align: top; padding-top: .2mm; padding-bottom: .2mm; line-height: 1.12; }
.head { margin-top: 1mm; font-size: 8.5pt; font-weight: 700; border-bottom: .5mm solid #000; break-after: avoid; }
.listed { font-size: 8.5pt; line-height: 1.12; }
.listed li { break-inside: avoid; padding: .15mm 0; border-bottom: .2mm solid #777; }
.listed li:last-child, .listed li:nth-last-child(2), .docks tr:last-child { break-before: avoid; }
.ways { font-size: 8.5pt; line-height: 1.15; break-inside: avoid; }
.ways li { display: inline; margin-right: 2mm; }
.pair { margin-top: 1mm; }
.pair > tbody > tr > td { border: 0; padding: 0 1mm 0 0; vertical-align: top; }
.pair > tbody > tr > td + td { padding: 0 0 0 .6mm; }
.pair h2:first-child { margin-top: 0; }
.chart { display: block; width: 100%; height: auto; max-height: CHART; }
.checks li { margin: .2mm 0; padding-left: 4.6mm; text-indent: -4.6mm; font-size: 9pt; line-height: 1.25; }
.line { display: inline-block; border-bottom: .25mm solid #000; min-width: 22mm; height: 3.3mm; text-indent: 0; }
.line.short { min-width: 11mm; }
.sun li { margin: .2mm 0; break-inside: avoid; }
.streams { margin-top: .6mm; border-top: .2mm solid #000; padding-top: .3mm; }
.streams li { margin: .3mm 0; font-size: 8.5pt; line-height: 1.15; break-inside: avoid; }
.sun.wide { columns: 2; column-gap: 4mm; }
.line.long { min-width: 52mm; }
.warn { font-weight: 700; }
.keep { white-space: nowrap; }
.shore { margin-top: 1.4mm; border-top: .5mm dashed #000; padding-top: 1mm; break-inside: avoid; }
.shore h2 { margin-top: 0; }
.shore .frame { border: .5mm solid #000; margin-top: 1mm; }
.shore .frame > tbody > tr > td { width: 50%; vertical-align: top; padding: .7mm 1.4mm; border: 0; }
.shore .frame > tbody > tr > td + td { border-left: .2mm solid #000; }
.shore .frame > tbody > tr + tr > td { border-top: .2mm solid #000; }
.shore p, .shore li { margin: .1mm 0; line-height: 1.15; }
.shore .due { font-size: 12pt; font-weight: 700; }
.steps li { padding-left: 4mm; text-indent: -4mm; }
@media screen and (max-width: 640px) {
  body { padding: 10px; font-size: 15px; }
  .small, .how, .keys td, .helm .to, .helm .limit, .docks td, .head, .listed, .streams li, th {
    font-size: 14px; }
  .checks li { font-size: 15px; line-height: 1.7; }
  .keys, .keys tbody, .pair, .pair > tbody, .pair > tbody > tr, .pair > tbody > tr > td,
  .shore .frame, .shore .frame > tbody, .shore .frame > tbody > tr, .shore .frame > tbody > tr > td,
  .docks, .docks tbody, .docks td, .helm, .helm tbody { display: block; width: auto; }
  .ways { font-size: 14px; }
  .ways li { display: block; margin: 4px 0; }
  .chart { max-height: none; }
  .keys tr { display: grid; grid-template-columns: 1fr 1fr; }
  .keys td { border-bottom: 1px solid #000; }
  .pair > tbody > tr > td, .pair > tbody > tr > td + td { padding: 0; }
  .shore .frame > tbody > tr > td + td { border-left: 0; border-top: 1px solid #000; }
  .helm thead, .docks thead { display: none; }
  .helm tr { display: grid; grid-template-columns: repeat(6, 1fr); padding: 6px 0; border-bottom: 1px solid #000; }
  .helm td, .helm td:first-child { display: block; border: 0; padding: 1px 4px; text-align: left; }
  .helm td[data-is]::before { display: block; content: attr(data-is); font-size: 12px; font-weight: 400; }
  .helm .figure, .helm .steer, .helm .bare { text-align: left; }
  .helm .band td, .helm .number, .helm .to { grid-column: 1 / -1; }
  .helm .figure, .helm .limit, .helm .blank { grid-column: span 3; }
  .helm .figure, .helm .limit b { font-size: 20px; }
  .helm .figure, .helm .limit { border: 0; }
  .helm .steer, .helm .at { font-size: 18px; }
  .helm .steer, .helm .bare, .helm .at { grid-column: span 2; }
  .helm .blank, .helm .limit:empty { display: none; }
  .docks td[data-is]::before { display: block; content: attr(data-is); font-size: 12px; }
  .docks tr { display: block; padding: 6px 0; border-bottom: 1px solid #000; }
  .docks td { border: 0; padding: 1px 4px; }
}
@media print {
  body { max-width: none; padding: 0; }
}
"""
_PAGE = """
@page {
  size: SIZE; margin: 7.5mm 10mm 8.5mm;
  @bottom-left { content: FOOT; font: 8.5pt "Liberation Sans", Arial, sans-serif; vertical-align: top;
    padding-top: 1mm; width: 75%; text-align: left; }
  @bottom-right { content: counter(page) " of " counter(pages); font: 8.5pt "Liberation Sans", Arial, sans-serif;
    vertical-align: top; padding-top: 1mm; width: 25%; text-align: right; }
}
"""


def write_style(paper: Paper, foot: str) -> str:
    """Write the style sheet.

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
    return _PAGE.replace("SIZE", _SIZES[paper]).replace("FOOT", _css_text(foot)) + _SHEET.replace(
        "CHART", _CHARTS[paper]
    )


def _css_text(text: str) -> str:
    """Write any text as a CSS string: all but letters and digits of ASCII by number, controls left out."""
    written = (
        letter if letter.isascii() and (letter.isalnum() or letter in " .,:") else f"\\{ord(letter):06x}"
        for letter in text
        if ord(letter) >= _CONTROLS and letter.isprintable()
    )
    return f'"{"".join(written)}"'
