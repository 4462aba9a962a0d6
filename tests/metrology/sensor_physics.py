"""What one fault makes of the error of a sensor at a temperature (°C), from the published equations, in floating point."""

from math import exp, sqrt

# IEC 60751 (from memory): R = 100·(1 + A·t + B·t²), below zero also C·(t − 100)·t³.
A, B, C = 3.9083e-3, -5.775e-7, -4.183e-12


def resistance(celsius: float) -> float:
    colder = C * (celsius - 100) * celsius**3 if celsius < 0 else 0.0
    return 100 * (1 + A * celsius + B * celsius**2 + colder)


def ohms_per_degree(celsius: float) -> float:
    return (resistance(celsius + 0.01) - resistance(celsius - 0.01)) / 0.02


def temperature(ohms: float) -> float:
    """From 0 °C up."""
    return (-A + sqrt(A**2 - 4 * B * (1 - ohms / 100))) / (2 * B)


# IEC 60584-1 reference functions, µV (from memory; they give the published voltages at 100 and -100 °C).
TYPE_K = (
    -1.7600413686e1,
    3.8921204975e1,
    1.8558770032e-2,
    -9.9457592874e-5,
    3.1840945719e-7,
    -5.6072844889e-10,
    5.6075059059e-13,
    -3.2020720003e-16,
    9.7151147152e-20,
    -1.2104721275e-23,
)
TYPE_K_BUMP = (1.185976e2, -1.183432e-4, 126.9686)
TYPE_K_COLD = (
    0.0,
    3.9450128025e1,
    2.3622373598e-2,
    -3.2858906784e-4,
    -4.9904828777e-6,
    -6.7509059173e-8,
    -5.7410327428e-10,
    -3.1088872894e-12,
    -1.0451609365e-14,
    -1.9889266878e-17,
    -1.6322697486e-20,
)
TYPE_T = (
    0.0,
    3.8748106364e1,
    3.329222788e-2,
    2.0618243404e-4,
    -2.1882256846e-6,
    1.0996880928e-8,
    -3.0815758772e-11,
    4.547913529e-14,
    -2.7512901673e-17,
)
TYPE_T_COLD = (
    0.0,
    3.8748106364e1,
    4.4194434347e-2,
    1.1844323105e-4,
    2.0032973554e-5,
    9.0138019559e-7,
    2.2651156593e-8,
    3.6071154205e-10,
    3.8493939883e-12,
    2.8213521925e-14,
    1.4251594779e-16,
    4.8768662286e-19,
    1.0795539270e-21,
    1.3945027062e-24,
    7.9795153927e-28,
)


def emf_k(celsius: float) -> float:
    if celsius < 0:
        return polynomial(TYPE_K_COLD, celsius)
    a0, a1, a2 = TYPE_K_BUMP
    return polynomial(TYPE_K, celsius) + a0 * exp(a1 * (celsius - a2) ** 2)


def emf_t(celsius: float) -> float:
    return polynomial(TYPE_T_COLD if celsius < 0 else TYPE_T, celsius)


def polynomial(coefficients, x: float) -> float:
    total = 0.0
    for coefficient in reversed(coefficients):
        total = total * x + coefficient
    return total


def sensitivity(emf, celsius: float) -> float:
    """µV/K; up to the end of type T at 400 °C."""
    up, down = min(celsius + 0.01, 400.0) if emf is emf_t else celsius + 0.01, celsius - 0.01
    return (emf(up) - emf(down)) / (up - down)


def aged_thermistor(celsius: float) -> float:
    """Beta equation: a relative change of resistance shifts the temperature by T²/β."""
    return (celsius + 273.15) ** 2


def aged_platinum(celsius: float) -> float:
    return resistance(celsius) / ohms_per_degree(celsius)


def leads_of_platinum(celsius: float) -> float:
    return 1 / ohms_per_degree(celsius)


def cold_junction_k(celsius: float) -> float:
    return 1 / sensitivity(emf_k, celsius)


def cold_junction_t(celsius: float) -> float:
    return 1 / sensitivity(emf_t, celsius)


def electronics(celsius: float) -> float:
    """The same everywhere."""
    return 1.0


def leaking_platinum(celsius: float) -> float:
    """A leak of L ohms beside the element takes R²/(R + L) from R; L is far above R."""
    return resistance(celsius) * aged_platinum(celsius)
