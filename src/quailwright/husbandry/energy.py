"""How much energy and protein a laying quail uses, and how much feed that makes."""

from quailwright.husbandry import facts


def energy_kcal_per_day(mass_kg: float, egg_g_per_day: float, gain_g_per_day: float = 0.0) -> float:
    """Metabolisable energy that a laying quail uses in a day, at 22 °C in cages.

    To live on, for what she gains, and for her eggs. Reckoned intakes stay 0 to 35 % below
    measured ones, most for heavy hens, and far below for birds out of lay (a grown cock: about 8 g
    against 12 to 18): good for what changes intake, not for how much it is.

    Args:
        mass_kg: body mass, above 0.
        egg_g_per_day: eggs laid, on the mean of laying and other days, 0 or more.
        gain_g_per_day: gain of body mass; may be below 0.

    Returns:
        Energy [kcal/d].

    Raises:
        ValueError: mass not above 0, or eggs below 0.

    Source: Jordao Filho et al. 2011, Rev Bras Zootec. Certainty: published, read in an excerpt.
    """
    _check(mass_kg, egg_g_per_day)
    return (
        facts.value("energy.keep_kcal_kg075") * float(mass_kg ** facts.value("energy.keep_power"))
        + facts.value("energy.gain_kcal_g") * gain_g_per_day
        + facts.value("energy.egg_kcal_g") * egg_g_per_day
    )


def protein_g_per_day(mass_kg: float, egg_g_per_day: float, gain_g_per_day: float = 0.0) -> float:
    """Crude protein that a laying quail needs in a day [g/d]; arguments, errors and source as of
    `energy_kcal_per_day`."""
    _check(mass_kg, egg_g_per_day)
    return (
        facts.value("energy.keep_protein_g_kg075")
        * float(mass_kg ** facts.value("energy.keep_power"))
        + facts.value("energy.gain_protein_g_g") * gain_g_per_day
        + facts.value("energy.egg_protein_g_g") * egg_g_per_day
    )


def _check(mass_kg: float, egg_g_per_day: float) -> None:
    if not mass_kg > 0 or egg_g_per_day < 0:
        raise ValueError(f"No hen weighs {mass_kg} kg and lays {egg_g_per_day} g a day.")


def intake_with_g_per_day(me_kcal_kg: float, usual_g_per_day: float) -> float:
    """Feed that birds eat of a diet of this energy: they eat for energy, so less of a richer one.

    Args:
        me_kcal_kg: metabolisable energy of the diet, above 0.
        usual_g_per_day: what they eat of a diet as the base table has it
            (``feeding.energy_kcal_kg``) [g/d].

    Returns:
        Feed [g/d].

    Raises:
        ValueError: energy not above 0.

    Certainty: inferred; trials kept nutrients to energy in one ratio (Moura et al. 2008).
    """
    if not me_kcal_kg > 0:
        raise ValueError(f"A diet of {me_kcal_kg} kcal/kg feeds nobody.")
    return usual_g_per_day * facts.value("feeding.energy_kcal_kg") / me_kcal_kg
