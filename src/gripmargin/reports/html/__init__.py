"""The report as one HTML page that opens without a network: verdict, findings, drawings, tables."""

from gripmargin.reports.html.page import report_html, reports_html

__all__ = ["report_html", "reports_html"]
