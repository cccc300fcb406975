"""The words of the explainer: four topics in plain language, and what their charts show."""

from __future__ import annotations

TOPPING_OFF, NO_CHARGER, TEMPERATURE, FADE = "topping_off", "no_charger", "temperature", "fade"

TITLES = {
    TOPPING_OFF: "What topping off is",
    NO_CHARGER: "Why a fixed-voltage supply is not a charger",
    TEMPERATURE: "What temperature does",
    FADE: "What capacity fade is",
}

TEXTS = {
    TOPPING_OFF: (
        "When you plug in ground power, the battery joins the same wires and starts to fill. A "
        "battery that is nearly full takes little current, and less each minute. That fall is "
        "called the taper.",
        "To give back this last bit of charge is to top off. It is safe on ground power as long as "
        "the current keeps falling, the battery stays cool, and somebody watches.",
    ),
    NO_CHARGER: (
        "A ground supply holds one voltage, and that is all it does. It does not know how full the "
        "battery is or how warm. It does not slow down, and it does not stop.",
        "A battery that is far down takes all the supply can give. The supply then stands at its "
        "limit and the battery heats up inside. Such a battery belongs on a bench, on a charger "
        "that its maker asks for.",
    ),
    TEMPERATURE: (
        "A warm battery wants fewer volts, a cold one wants more. The supply gives the same volts "
        "to both. So it can push a hot battery too hard and never fill a cold one.",
        "Cold also hides charge: a cold battery gives less than its plate says. It takes little "
        "current and looks fuller than it is.",
    ),
    FADE: (
        "Capacity is the charge that a full battery can give. Each year it shrinks a little. That "
        "loss is called fade. A full battery that has faded is like a smaller tank.",
        "Fade cannot be seen while the supply is on. It takes a capacity check: the battery is "
        "filled, then run down on a bench by the clock. Below its limit the battery is due for "
        "service or for a new one.",
    ),
}

PARAMETERS = {
    TOPPING_OFF: "Charge when joined (%)",
    NO_CHARGER: "Charge when joined (%)",
    TEMPERATURE: "Battery temperature (°C)",
    FADE: "Age of the battery (years)",
}

SHOWN = {
    TOPPING_OFF: "From {soc:.0f} % charge this battery takes {first:.0f} A at first and "
    "{later:.1f} A after half an hour. To be full it needs {charge:.1f} Ah (current "
    "times hours).",
    "no_charger.limit": "From {soc:.0f} % charge the supply stands at its {limit:.0f} A for "
    "{minutes}.",
    "no_charger.long": "It is still there after {minutes}.",
    "no_charger.free": "From {soc:.0f} % charge the supply never reaches its {limit:.0f} A.",
    "no_charger.rule": "More than {rule} at the limit is no topping off.",
    "temperature.high": "At {temp:.0f} °C the {volts:.0f} V of the supply are {by:.1f} V too high.",
    "temperature.low": "At {temp:.0f} °C the {volts:.0f} V of the supply are {by:.1f} V too low.",
    "temperature.ok": "At {temp:.0f} °C the {volts:.0f} V of the supply suit this battery.",
    "temperature.capacity": "It can give {share:.0f} % of what it gives at 25 °C.",
    FADE: "After {years} about {best:.0f} % of the plate's capacity is left. For nine "
    "batteries of ten of this kind it is {low:.0f} to {high:.0f} %. The least asked is "
    "{limit:.0f} %.",
}

EXAMPLE = (
    "Shown for an invented lead battery of {rated:.0f} Ah and a supply of {limit:.0f} A, from the "
    "tool's own models. Your battery differs."
)
TIME_AXIS, CURRENT_AXIS = "Time since connection (min)", "Current into the battery (A)"
SUPPLY_AXIS = "Current of the supply (A)"
TEMP_AXIS, VOLT_AXIS = "Battery temperature (°C)", "Voltage (V)"
YEAR_AXIS, CAPACITY_AXIS = "Age (years)", "Capacity (% of the plate)"
LABELS = {
    "charge": "charge to come",
    "load": "bus load",
    "limit": "limit of the supply",
    "rule": "{rule:.0f} min",
    "supply": "the supply: {volts:.0f} V",
    "high": "most",
    "low": "least",
    "least": "least asked: {limit:.0f} %",
}
