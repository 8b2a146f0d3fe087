"""The words of a channel's name, brought to one vocabulary: "WhlSpd_FL" → wheel, speed, fl.

English, short forms as on a car's bus, and the common German, French, Spanish, Portuguese and Italian words.
"""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

_WORDS: dict[str, str] = {
    "speed": "speed spd velocity vel velo geschwindigkeit geschw vitesse velocidad velocidade velocita v",
    "gps": "gps gnss sat satellite satellit rtk",
    "sog": "sog",
    "ground": "ground boden sol",
    "wheel": "wheel whl whs wheels roue roda rueda ruota",
    "wheel speed": "ws wss wheelspd whlspd whlspeed raddrehzahl radgeschwindigkeit nrad vrad",
    "vehicle": "vehicle veh car fahrzeug fzg vehicule vehiculo veiculo auto chassis",
    "fl": "fl lf vl frontleft leftfront",
    "fr": "fr rf vr frontright rightfront",
    "rl": "rl lr hl rearleft leftrear bl",
    "rr": "rr hr rearright rightrear br",
    "front": "front vorn vorne vorder avant dianteira dianteiro delantera delantero anteriore fnt frt f",
    "rear": "rear hinten hinter arriere traseira traseiro trasera trasero posteriore back r",
    "left": "left links gauche esquerda esquerdo izquierda izquierdo sinistra l",
    "right": "right rechts droite droit direita direito derecha derecho destra",
    "lat": "lat latitude latitud breite breitengrad latitudine",
    "lon": "lon lng longitude longitud laengengrad laenge longitudine",
    "long": "long",
    "lateral": "lateral quer laterale y transversal",
    "longitudinal": "longitudinal laengs longi x",
    "altitude": "alt altitude altitud hoehe elevation altura quota",
    "heading": "heading hdg course cog bearing kurs cap rumbo rotta",
    "throttle": "throttle thr tps app apps gaspedal fahrpedal accelerator acelerador accelerateur papillon"
    " drossel drosselklappe gas farfalla acceleratore",
    "pedal": "pedal pedale",
    "brake": "brake brk bremse brems frein freno freio travao brakes",
    "pressure": "pressure press prs pres druck pression presion pressao pressione p",
    "steering": "steering steer strg swa lenk lenkung lenkwinkel volant volante sterzo",
    "angle": "angle ang winkel angulo angolo",
    "accel": "accel acc acceleration accelerometer beschleunigung beschl aceleracion aceleracao"
    " accelerazione gforce g a",
    "accel longitudinal": "ax gx accx accelx along glong",
    "accel lateral": "ay gy accy accely alat glat",
    "yaw": "yaw gier gierrate lacet guinada imbardata",
    "yaw rate": "yawrate gyroz wz psidot",
    "rate": "rate gyro vitesseangulaire",
    "z": "z",
    "damper": "damper damp dmp shock shk susp suspension daempfer amortisseur amortecedor amortiguador"
    " ammortizzatore linpot linearpot pot potentiometer",
    "ride": "ride fahrhoehe bodenfreiheit",
    "height": "height ht hauteur hohe",
    "ride height": "rh rideheight",
    "pushrod": "pushrod push",
    "rod": "rod",
    "load": "load force strain kraft loadcell fz last effort charge forza carico",
    "air": "air luft airflow",
    "air speed": "airspeed pitot tas ias",
    "motor": "motor engine eng inverter inv mot moteur motore mcu em emotor machine",
    "torque": "torque trq tq moment drehmoment couple par binario coppia mmot",
    "rpm": "rpm drehzahl regime revs revolutions rotation regimen giri n nmot",
    "clutch": "clutch kupplung embrayage embrague embreagem frizione",
    "gear": "gear gang rapport marcha marche vitesseengagee gearpos gearposition marcia",
    "tyre": "tyre tire reifen pneu neumatico pneumatico gomma",
    "temperature": "temperature temp temperatur temperatura tmp t",
    "position": "position pos travel displacement disp weg stroke hub sensor sens signal value actual act can"
    " dash ecu abs data log raw ch channel meas measured",
    "filtered": "filt filtered flt smoothed",
    "other": "limit lim max min avg average target setpoint set demand request req desired cmd command error"
    " err accuracy hdop pdop vdop dop status stat flag valid quality fix std stddev sigma rms wind ambient"
    " oil water coolant fuel battery batt slip ratio lap sector delta diff vertical climb north east down"
    " derivative limiter counter count state switch sw light voltage volt current amp power energy fan pump"
    " turbo boost map manifold exhaust brightness gradient bias balance duty reference ref calc predicted"
    " pitch roll pulse pulses ticks tooth distance dist odometer trip calibration cal offset zero number num",
}
_VOCABULARY: dict[str, tuple[str, ...]] = {
    word: tuple(concept.split()) for concept, words in _WORDS.items() for word in words.split()
}
_GLUED = sorted((w for w in _VOCABULARY if len(w) > 1), key=len, reverse=True)
_CAMEL = re.compile(r"[A-Z]+(?=[A-Z][a-z])|[A-Z]?[a-z]+|[A-Z]+|\d+")
_LONGEST = 60
_ENDS = {"front": "f", "rear": "r"}
_SIDES = {"left": "l", "right": "r"}
_UMLAUTS = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "ß": "ss", "Ä": "Ae", "Ö": "Oe", "Ü": "Ue"})


@lru_cache(maxsize=4096)
def concepts(name: str) -> tuple[str, ...]:
    """Return the concepts of a channel's name in order; a word that is not known stays itself."""
    plain = unicodedata.normalize("NFKD", name.translate(_UMLAUTS)).encode("ascii", "ignore").decode()
    found: list[str] = []
    for word in re.split(r"[^A-Za-z0-9]+", plain):
        found += _of_word(word) if word else []
    if "rad" in found and {"speed", "rpm"} & set(found):  # German for wheel, not the unit
        found[found.index("rad")] = "wheel"
    return tuple(_corners(found))


def _of_word(word: str) -> list[str]:
    low = word.casefold()
    if low in _VOCABULARY:
        return list(_VOCABULARY[low])
    glued = _unglue(low)
    if glued is not None:
        return glued
    pieces = _CAMEL.findall(word)
    if len(pieces) > 1:
        return [concept for piece in pieces for concept in _of_piece(piece)]
    return [low]


def _of_piece(piece: str) -> list[str]:
    low = piece.casefold()
    if low in _VOCABULARY:
        return list(_VOCABULARY[low])
    return _unglue(low) or [low]


@lru_cache(maxsize=4096)
def _unglue(low: str) -> list[str] | None:
    """Split a word made of known words ("wheelspeedfl"); None where that cannot be done."""
    if not low:
        return []
    if len(low) > _LONGEST:
        return None
    for word in _GLUED:
        if low.startswith(word):
            rest = _unglue(low[len(word) :])
            if rest is not None:
                return [*_VOCABULARY[word], *rest]
    return None


def _corners(found: list[str]) -> list[str]:
    """Join an end and a side of the car into a corner: front, left → fl; r, r → rr."""
    out: list[str] = []
    index = 0
    while index < len(found):
        here, after = found[index], found[index + 1] if index + 1 < len(found) else ""
        if here in _ENDS and (after in _SIDES or (after == "rear" and here in _ENDS)):
            out.append(_ENDS[here] + _SIDES.get(after, "r"))
            index += 2
        elif here in _SIDES and after in _ENDS:
            out.append(_ENDS[after] + _SIDES[here])
            index += 2
        else:
            out.append(here)
            index += 1
    return out
