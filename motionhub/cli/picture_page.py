"""A verdict as a page of its own: in words, as a picture, and every finding with what would mend it."""

from __future__ import annotations

import html
from collections.abc import Sequence

from motionhub.check.findings import Finding
from motionhub.check.report import Report
from motionhub.cli.verdict import PLAIN, number, when

HEADS = ("", "", "rule", "where", "when", "found", "limit", "what would mend it")


def page(report: Report, words: str, svg: str) -> str:
    """The page as HTML that needs nothing else.

    Args:
        report: The verdict.
        words: Its title.
        svg: The picture.
    """
    picture = svg[svg.index("<svg") :]
    title = html.escape(words)

    def row(number_: int, f: Finding) -> str:
        cells: Sequence[str] = (
            str(number_),
            "✗ error" if f.severity == "error" else "! warning",
            f"{PLAIN[f.rule]} ({f.rule})",
            f.subject or "",
            when(f),
            f"{number(f.value)} {f.unit}",
            f"{number(f.limit)} {f.unit}",
            f.advice,
        )
        # Where there is no room for columns, each cell says what it is.
        named = zip(HEADS, cells, strict=True)
        return "<tr>" + "".join(f'<td data-head="{head}">{html.escape(cell)}</td>' for head, cell in named) + "</tr>"

    table = (
        "<table><thead><tr>"
        + "".join(f'<th scope="col">{head}</th>' for head in HEADS)
        + "</tr></thead><tbody>"
        + "\n".join(row(i, f) for i, f in enumerate(report.findings, 1))
        + "</tbody></table>"
        if report.findings
        else "<p>Nothing to mend.</p>"
    )
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{title}</title>
<style>
body {{ font: 16px/1.45 system-ui, sans-serif; margin: 1.5rem; color: #1a1a1a; background: #fff; }}
figure > div {{ overflow-x: auto; }}
svg {{ width: 100%; min-width: 56rem; height: auto; }}
table {{ border-collapse: collapse; }}
th, td {{ text-align: left; vertical-align: top; padding: 0.25rem 0.75rem 0.25rem 0; border-bottom: 1px solid #ccc; }}
td:nth-child(-n+2), td:nth-child(5), td:nth-child(6), td:nth-child(7) {{ white-space: nowrap; }}
figure {{ margin: 0 0 1rem; }}
@media (max-width: 45rem) {{
  body {{ margin: 1rem; }}
  h1 {{ font-size: 1.4rem; }}
  thead {{ display: none; }}
  table, tbody, tr {{ display: block; }}
  tr {{ padding: 0.5rem 0; border-bottom: 1px solid #ccc; }}
  table td:nth-child(n) {{ display: block; border: 0; padding: 0 0.5rem 0 0; white-space: normal; }}
  table td:empty {{ display: none; }}
  table td:nth-child(-n+3) {{ display: inline; font-weight: bold; }}
  td:nth-child(n+4)::before {{ content: attr(data-head) ": "; color: #5a5a5a; }}
}}
</style>
</head>
<body>
<h1>{"" if report.fits else "✗ "}{title}</h1>
<p>{report.duration_s:.1f} s, {report.frames} frames. Most current {report.peaks.supply_a:.1f} A, lowest rail
{report.peaks.supply_v_min:.2f} V, least stability margin {report.peaks.stability_margin_mm:.1f} mm.</p>
<figure>
<div tabindex="0" role="region" aria-label="The picture">
{picture}
</div>
<figcaption>Torque that each servo gives against what it has, stability margin, current and voltage over the
move. Numbers are those of the table.</figcaption>
</figure>
{table}
</body>
</html>
"""
