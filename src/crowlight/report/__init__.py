"""What people read: sentences, pictures and the report on a reed."""

from crowlight.report.html import report_html
from crowlight.report.plain import assessment_in_mm
from crowlight.report.text import assessment_text
from crowlight.report.words import Words, in_locale

__all__ = ["Words", "assessment_in_mm", "assessment_text", "in_locale", "report_html"]
