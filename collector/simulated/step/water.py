"""One step of the water circuit: emitters, buffer, pipes and cylinder.

All heat flows of a step use the temperatures before it and are booked on both sides, so that every balance
closes to rounding.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from fieldfare.collector.simulated.step.layout import (
    CYLINDER_NODES,
    IMMERSION_NODE,
    SENSOR_NODE,
    STEP_S,
    Record,
)
from fieldfare.collector.simulated.step.physics import CYLINDER_J_PER_LITRE_K, emission


@njit(cache=True)
def emitters(
    em: Record, z: int, t_supply: float, c_rate: float, air: float, water: np.ndarray, slab: np.ndarray
) -> tuple[float, float, float]:
    """Advance one zone's emitter by one step.

    em : record array (zones,); z : int; t_supply : float [degC]; c_rate : float [W/K] through this zone
    air : float [degC]; water : float array (zones, 2) [degC], changed; slab : float array (zones,) [degC],
        changed
    Returns tuple (return temperature [degC], heat from the water [W], heat to the room [W]).
    """
    e = em[z]
    t_in = t_supply
    from_water = 0.0
    back = water[z, 1]
    # Each half emits by the mean of its inlet and its own temperature, so that the whole follows the
    # arithmetic mean of flow and return that EN 442 uses; at a trickle the half's own temperature counts.
    ua_half = max(0.5 * e.rated / e.excess, 1.0)
    weight = 0.5 * c_rate / (c_rate + ua_half)
    for i in range(2):
        own = water[z, i]
        mean = own + weight * (t_in - own)
        if e.is_floor > 0.5:
            q = 0.5 * e.ua_water * (mean - slab[z])
        else:
            q = 0.5 * emission(e.rated, e.excess, mean - air, e.exponent)
        water[z, i] = own + STEP_S / e.c_node * (c_rate * (t_in - own) - q)
        t_in = own
        from_water += q
    to_room = from_water
    if e.is_floor > 0.5:
        over = slab[z] - air
        # EN 1264-2: 8.92 W/m2 at 1 K with exponent 1.1; a cooler slab takes heat back, more weakly
        to_room = e.slab_area * (8.92 * over**1.1 if over > 0.0 else 6.0 * over)
        slab[z] += STEP_S / e.slab_c * (from_water - to_room)
    return back, from_water, to_room


@njit(cache=True)
def coil(c: Record, t_supply: float, c_rate: float, ua: float, cyl: np.ndarray) -> tuple[float, float]:
    """Pass water through the cylinder's coil, from top to bottom.

    c : record of constants; t_supply : float [degC]; c_rate : float [W/K]; ua : float [W/K]
    cyl : float array (nodes,) [degC], top first, changed
    Returns tuple (temperature leaving the coil [degC], heat to the cylinder [W]).
    Source: exchanger effectiveness 1 - exp(-NTU) against a mixed node.
    """
    t = t_supply
    total = 0.0
    turns = CYLINDER_NODES - SENSOR_NODE
    share = 1.0 - math.exp(-ua / turns / max(c_rate, 1e-6))
    heat_per_k = c.node_litres * CYLINDER_J_PER_LITRE_K
    for i in range(SENSOR_NODE, CYLINDER_NODES):
        q = c_rate * share * (t - cyl[i])
        t -= share * (t - cyl[i])
        cyl[i] += STEP_S * q / heat_per_k
        total += q
    return t, total


@njit(cache=True)
def cylinder(
    c: Record, h: Record, cyl: np.ndarray, litres_40: float, room: float, p_imm: float
) -> tuple[float, float, float, float, float]:
    """Draw, lose, heat electrically and mix the cylinder.

    c, h : records; cyl : float array (nodes,) [degC], top first, changed; litres_40 : float [l] wanted at 40
        degC in this step; room : float [degC]; p_imm : float [W]
    Returns tuple (heat drawn [J], litres taken [l], wanted litres served below 40 degC [l], standing loss
        [W], loss of the circulation pipe [W]).
    """
    node = c.node_litres
    heat_per_k = node * CYLINDER_J_PER_LITRE_K
    drawn = 0.0
    litres = 0.0
    cold = 0.0
    if litres_40 > 0.0:
        top = cyl[0]
        if top > 40.0:
            litres = litres_40 * (40.0 - c.cold_water_c) / (top - c.cold_water_c)
        else:
            litres = litres_40
            cold = litres_40
        share = min(litres / node, 1.0)
        drawn = litres * CYLINDER_J_PER_LITRE_K * (top - c.cold_water_c)
        if litres > node:
            drawn *= node / litres
        for i in range(CYLINDER_NODES - 1):
            cyl[i] += share * (cyl[i + 1] - cyl[i])
        cyl[CYLINDER_NODES - 1] += share * (c.cold_water_c - cyl[CYLINDER_NODES - 1])
    loss = 0.0
    ua_node = (c.loss_ua + h.insulation) / CYLINDER_NODES
    for i in range(CYLINDER_NODES):
        q = ua_node * (cyl[i] - room)
        loss += q
        cyl[i] -= STEP_S * q / heat_per_k
    pipe = 0.0
    if h.secondary > 0.0:
        # the circulated water leaves at the top and comes back cooler halfway down, which stirs the store
        pipe = h.secondary * max(0.0, cyl[0] - room)
        cyl[2] -= STEP_S * pipe / heat_per_k
    cyl[IMMERSION_NODE] += STEP_S * p_imm / heat_per_k
    # conduction through water and wall, then mixing by buoyancy
    for i in range(CYLINDER_NODES - 1):
        q = 1.5 * (cyl[i] - cyl[i + 1])
        cyl[i] -= STEP_S * q / heat_per_k
        cyl[i + 1] += STEP_S * q / heat_per_k
    for _ in range(CYLINDER_NODES - 1):
        calm = True
        for i in range(CYLINDER_NODES - 1, 0, -1):
            if cyl[i] > cyl[i - 1] + 0.02:
                mean = 0.5 * (cyl[i] + cyl[i - 1])
                cyl[i] = mean
                cyl[i - 1] = mean
                calm = False
        if calm:
            break
    return drawn, litres, cold, loss, pipe


@njit(cache=True)
def buffer_step(c: Record, s: Record, t_supply: float, t_return: float, c1: float, c2: float) -> None:
    """Advance a parallel buffer of two layers by one step.

    c, s : records, s updated in place; t_supply, t_return : float [degC] from the unit and from the emitters
    c1, c2 : float [W/K] primary and secondary
    If the secondary flow exceeds the primary, water of the lower layer mixes into the supply and cools it.
    """
    half = 0.5 * c.buffer_j
    up = max(0.0, c2 - c1)
    down = max(0.0, c1 - c2)
    stir = c.buffer_mix if s.top >= s.bottom else 20.0 * c.buffer_mix
    mixed = stir * (s.top - s.bottom)
    top = c1 * (t_supply - s.top) + up * (s.bottom - s.top) - mixed
    low = c2 * (t_return - s.bottom) + down * (s.top - s.bottom) + mixed
    s.top += STEP_S * top / half
    s.bottom += STEP_S * low / half
