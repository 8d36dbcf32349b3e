"""The cautions, said in one place: at the start of a record, on the run sheet, in the guide."""

from __future__ import annotations

NO_SAFETY_DEVICE = (
    "soakwitness only reads. It is no safety device: the furnace needs its own over-temperature cut-out with its own "
    "sensor, above all when it heats unattended."
)
ISOLATE = "Switch off and isolate before tongs or foil come near elements."
GENERAL = (
    "Elements are live until isolated; a door switch that acts only on a relay's input does not isolate, and relays "
    "fail closed.",
    "A sensor sheath that touches an element puts mains on logger, computer and person: isolated link, earthed sheath, "
    "sensors fitted only with the supply isolated, by a qualified electrician to the local code.",
    "Insulation fibre dust harms the lungs: no dry sweeping, a suitable mask.",
)
HARDENING = (
    "Glowing packets burn and glare: gloves, a shaded face shield, a clear way to the plates. No countdown is worth a "
    "burn.",
    "Foil edges cut; wet or oily packets vent and burst; paper in them smokes.",
    "Plates pinch, and steel still burns after the quench; oil that burns wants the lid, never water.",
    "As-quenched steel breaks like glass: handle and temper with care.",
)
COLD = (
    "Solvents in a cold bath burn: no flame, no switch, air from outside.",
    "Liquid nitrogen and dry ice asphyxiate, burn and burst closed vessels: ventilate, oxygen alarm, no sealed "
    "container (liquid nitrogen makes about 700 times its volume of gas).",
)
CALIBRATING = (
    "A second sensor in a hot chamber: fit it cold, with the supply isolated; a sheath that touches an element puts "
    "mains on the readout and on the person who holds it. Gloves, and no hand in the furnace.",
    "The furnace needs its own over-temperature cut-out also while it is held for a calibration.",
)
TEMPERING = ("No oily parts in a food oven.",)
DEFER = "Follow the steel supplier's certificate, local codes and licensed practice."
NOT_A_CERTIFICATE = "Record of measurements, not a certificate of conformity."


def for_recipe(highest_c: float | None, order: tuple[str, ...] = ()) -> tuple[str, ...]:
    """Cautions that belong to a recipe: by its highest target [degC] and the steps it names."""
    hot = highest_c is None or highest_c > 500
    cold = any("cold" in step for step in order)
    return (
        NO_SAFETY_DEVICE,
        *((ISOLATE, *HARDENING) if hot else TEMPERING),
        *GENERAL[:2],
        *(COLD if cold or hot else ()),
        DEFER,
    )
