"""A job in a few sentences, as the command line tells it."""

from typing import Final

from etchwire.sheet import Sheet

_MM_PER_INCH: Final = 25.4


def summary(sheet: Sheet) -> str:
    """Return size, settings and duration of the job, a line for each."""
    recipe = sheet.recipe
    return "\n".join(
        (
            f"{sheet.title}: {sheet.width_mm:.2f} × {sheet.height_mm:.2f} mm, {sheet.columns} × "
            f"{sheet.rows} dots, {sheet.coverage * 100:.0f} % of the area burnt.",
            f"{sheet.head.name} at {recipe.feed_mm_per_min:g} mm/min and "
            f"{recipe.power_ratio * 100:g} % ({recipe.power_w(sheet.head):.3g} W), lines "
            f"{recipe.line_spacing_mm:.4g} mm apart ({_MM_PER_INCH / recipe.line_spacing_mm:.4g} "
            f"per inch): {sheet.dose_j_per_mm2:.3g} J/mm².",
            f"Etching will take {duration(sheet.predicted_s)}.",
        )
    )


def duration(seconds: float) -> str:
    """Return how long that is, in the two largest units that a person would name."""
    minutes, rest_s = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    if hours:
        return f"{hours} h {minutes} min"
    return f"{minutes} min {rest_s} s" if minutes else f"{rest_s} s"
