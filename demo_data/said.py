"""How people write it: kinds, complaints, findings, causes, parts, ages and money, in the surface forms of a real workshop.

Wording is from memory of how the trade writes (common practice, no source). Nothing here knows what was drawn beyond the
terms it is asked to word, so the truth files hold exactly what the text says.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from demo_data.makes import COLD

if TYPE_CHECKING:
    import numpy as np

KIND_SAID = {
    "washing machine": ("washing machine", "Washing Machine", "W/M", "w/m", "Wash Mach", "washer", "WM", "Washing m/c"),
    "washer-dryer": ("washer dryer", "Washer-Dryer", "W/D", "w/d", "washer/dryer", "WD"),
    "tumble dryer": ("tumble dryer", "Tumble Dryer", "TD", "T/D", "dryer", "tumble drier"),
    "dishwasher": ("dishwasher", "Dishwasher", "D/W", "d/w", "dish washer", "DW"),
    "fridge": ("fridge", "Fridge", "refrigerator", "larder fridge"),
    "freezer": ("freezer", "Freezer", "chest freezer", "upright freezer"),
    "fridge-freezer": ("fridge freezer", "F/F", "f/f", "Fridge-Freezer", "fridge/freezer", "FF"),
    "electric oven": ("electric oven", "Oven", "oven", "built-in oven", "single oven"),
    "cooker": ("cooker", "electric cooker", "Cooker"),
    "electric hob": ("hob", "electric hob", "ceramic hob", "induction hob"),
    "microwave oven": ("microwave", "Microwave oven", "M/W", "microwave oven"),
    "vacuum cleaner": ("vacuum", "vacuum cleaner", "vac", "Vacuum cleaner"),
    "gas appliance": ("gas cooker", "gas hob", "Gas cooker"),
}

SAID: dict[str, tuple[str, ...]] = {
    "does not drain": (
        "not draining", "won't drain", "wont drain", "does not drain", "doesn't drain", "not emptying", "won't empty",
        "no drain", "not pumping out", "won't pump out", "does not pump out", "water not going out", "water stays in drum",
        "full of water", "water left in machine", "not pumping water away", "fails to drain", "will not drain",
    ),
    "stops before spin": (
        "stops before spin", "stops before the spin", "sticks before spin", "stuck before spin cycle",
        "stops just before spinning", "stops mid cycle before spin", "gets to spin and stops", "halts before spin",
        "cuts out before the spin", "stops at the end of the rinse", "won't go into spin", "does not get to the spin",
    ),
    "does not spin": (
        "not spinning", "won't spin", "wont spin", "does not spin", "doesn't spin", "no spin", "clothes come out wet",
        "clothes soaking at the end", "not spinning out", "drum not spinning", "will not spin", "fails to spin",
        "washing soaking wet at end",
    ),
    "does not heat": (
        "not heating", "no heat", "does not heat", "doesn't heat", "won't heat", "wont heat up", "not heating up",
        "stays cold", "not getting hot", "no heat at all", "not heating the water", "washing in cold water", "will not heat",
    ),
    "takes too long": (
        "takes too long", "takes ages", "taking forever", "cycle takes too long", "takes hours", "takes 3 hours",
        "taking too long", "very long cycles", "never finishes", "takes twice as long as it did",
    ),
    "trips supply": (
        "trips the electrics", "tripping electrics", "trips the RCD", "tripping the fuse board", "keeps tripping",
        "trips supply", "blows the trip switch", "trips the breaker", "knocks the electrics off", "tripping RCD",
        "trips the fuse box",
    ),
    "leaks": (
        "leaking", "leaks", "leaking water", "water on floor", "leaking on the floor", "water all over the floor",
        "leaks from underneath", "water coming out underneath", "puddle under machine", "leaking from the door",
        "leaks during wash", "flooding the kitchen", "dripping water",
    ),
    "noisy": (
        "noisy", "very noisy", "making a noise", "loud noise", "making a loud noise", "grinding noise", "banging",
        "rattling", "squealing", "rumbling", "sounds like a jet", "loud humming", "clunking noise", "noisy on spin",
    ),
    "door does not open or lock": (
        "door won't open", "door wont open", "door not locking", "door stuck", "can't open door", "door will not lock",
        "door won't close", "door locked shut", "door does not open", "door not closing", "door jammed", "door won't shut",
    ),
    "does not fill": (
        "not filling", "won't fill", "no water coming in", "does not fill", "not taking water", "no water going in",
        "wont take in water", "not filling with water", "doesn't fill", "fills very slowly", "not taking in water",
    ),
    "dead": (
        "dead", "completely dead", "no power", "won't turn on", "wont switch on", "not turning on", "no lights",
        "no life", "nothing happens when switched on", "will not start up", "no power at all", "won't power up",
        "won't come on",
    ),
    "drum does not turn": (
        "drum not turning", "drum won't turn", "drum does not turn", "not turning", "drum stopped turning",
        "drum not going round", "not tumbling", "hums but drum not turning", "drum doesnt turn", "drum stuck",
        "drum not rotating", "won't tumble",
    ),
    "stops early": (
        "stops early", "stops too soon", "stops before dry", "finishes too early", "ends early, clothes wet",
        "cuts short the programme", "stops after 5 minutes", "stops after ten minutes", "says dry but damp",
        "switches off before end",
    ),
    "does not clean": (
        "not cleaning", "does not clean", "dishes still dirty", "dishes come out dirty", "not washing properly",
        "poor wash results", "glasses cloudy and dirty", "bits left on plates", "not cleaning properly",
        "doesn't clean dishes", "top rack not clean", "not washing the dishes",
    ),
    "warm": (
        "not cold", "warm", "not cooling", "too warm", "not keeping cold", "food going off", "not cold enough",
        "stopped cooling", "temperature too high", "running warm", "not getting cold", "milk going off", "doesn't cool",
    ),
    "water inside": (
        "water inside", "water in bottom of fridge", "water under the salad drawer", "pool of water inside",
        "water collecting inside", "water at the bottom inside", "water dripping inside", "puddle inside at the bottom",
    ),
    "slow or uneven": (
        "slow to heat", "uneven cooking", "burns one side", "cooks unevenly", "takes ages to heat up", "slow to warm up",
        "cakes cooked on one side only", "slow and uneven", "not cooking evenly",
    ),
    "ring dead": (
        "ring not working", "one ring dead", "ring dead", "front ring not working", "ring not heating", "back ring dead",
        "one ring does not work", "ring won't come on",
    ),
    "zone dead": (
        "zone not working", "one zone dead", "zone dead", "induction zone not working", "left zones dead",
        "one zone won't heat", "front zone not working", "zone won't come on",
    ),
    "runs but no heat": (
        "runs but no heat", "runs but doesn't heat", "turns but not heating food", "works but food stays cold",
        "light and turntable work but no heat", "runs, no heat", "going round but food cold",
    ),
    "no suction": (
        "no suction", "poor suction", "lost suction", "not sucking", "not picking up", "won't pick up", "weak suction",
        "suction gone",
    ),
    "cuts out": (
        "cuts out", "keeps cutting out", "cutting out after 5 mins", "stops after a minute", "cuts out when hot",
        "switches itself off", "cutting out", "keeps stopping",
    ),
    "smells of burning": (
        "burning smell", "smells of burning", "smell of burning", "smells burnt", "burning rubber smell", "smells hot",
        "smoke smell",
    ),
    "lamps or code shown": (
        "error code on display", "lights flashing", "lamps flashing", "all lights flashing", "fault code showing",
        "showing an error", "code on screen", "error showing", "flashing lights",
    ),
}  # fmt: skip

# Where the kind changes the words: they take the place of the general ones.
SAID_OF_KIND: dict[tuple[tuple[str, ...], str], tuple[str, ...]] = {
    (("tumble dryer",), "does not heat"): (
        "not heating", "no heat", "blowing cold air", "runs but no heat", "tumbles but no heat", "cold air only", "wont heat",
        "not getting hot", "does not heat", "doesn't heat up",
    ),
    (("electric oven", "cooker"), "does not heat"): (
        "not heating", "oven not getting hot", "no heat in oven", "oven stays cold", "oven won't heat", "does not heat up",
        "not heating up", "main oven no heat",
    ),
    (("tumble dryer",), "takes too long"): (
        "takes too long", "takes ages to dry", "taking forever to dry", "not drying properly", "takes 3 hours to dry",
        "clothes still damp after two cycles", "very slow drying", "not drying",
    ),
    (COLD, "noisy"): (
        "noisy", "buzzing", "very noisy", "loud humming", "rattling", "clicking noise", "fan noise", "making a loud noise",
        "scraping noise", "noisy at night",
    ),
    (("dishwasher",), "does not drain"): (
        "not draining", "won't drain", "water in the bottom", "water left in bottom", "does not drain", "standing water",
        "not emptying", "not pumping out", "wont drain", "dirty water left in the bottom", "full of water",
    ),
}  # fmt: skip

DENIED: dict[str, tuple[str, ...]] = {
    "does not drain": ("drains ok", "drains fine", "draining ok", "no water left", "empties fine"),
    "leaks": ("not leaking", "no leaks", "no leak", "does not leak", "no water on floor"),
    "noisy": ("not noisy", "no noise", "no strange noise", "quiet"),
    "does not heat": ("heats ok", "heating fine", "heats up fine", "still heats"),
    "does not spin": ("spins ok", "spins fine", "spinning ok"),
    "drum does not turn": ("drum turns", "drum turns ok", "drum still turning", "turning fine"),
    "trips supply": ("not tripping", "does not trip electrics", "no tripping"),
    "does not fill": ("fills ok", "fills fine", "taking water ok"),
    "door does not open or lock": ("door ok", "door opens fine", "door locks ok"),
    "dead": ("has power", "power ok", "lights come on"),
    "water inside": ("no water inside", "dry inside"),
    "smells of burning": ("no burning smell", "no smell of burning"),
    "does not clean": ("cleans ok", "washes fine", "cleaning ok"),
    "takes too long": ("cycle time ok", "not taking long"),
    "stops before spin": ("gets to spin ok", "goes into spin ok"),
    "stops early": ("runs to the end", "not stopping early"),
    "warm": ("still cold", "cooling ok"),
    "slow or uneven": ("cooks evenly",),
    "ring dead": ("rings ok", "all rings work"),
    "zone dead": ("zones ok", "other zones work"),
    "runs but no heat": ("heats ok",),
    "no suction": ("suction ok", "good suction"),
    "cuts out": ("not cutting out",),
}

VAGUE = ("not working", "not working properly", "faulty", "please look at it", "playing up", "something wrong", "broken",
         "customer reports fault", "needs looking at", "not right", "problem with machine")  # fmt: skip
OPENINGS = ("", "", "", "", "", "", "c/o ", "cust says ", "customer states ", "reported ", "int. ", "intermittent, ")
CLOSINGS = ("", "", "", "", "", "", "", " since yesterday", " for a week", " pls call first", " - urgent", ", getting worse",
            " sometimes", " since moving house", " last few weeks", " again", "!!", " , elderly customer")  # fmt: skip
DOUBTS = ("? {}", "poss {}", "maybe {}", "possibly {}", "{}?")

FOUND: dict[tuple[str, str], tuple[str, ...]] = {
    ("water left", "yes"): ("water left in drum", "drum full of water", "water still in", "standing water"),
    ("water left", "no"): ("no water left", "drum empty", "no water left in drum", "no standing water"),
    ("pump filter", "clear"): ("filter clear", "pump filter clear", "filter clean"),
    ("pump filter", "blocked"): ("filter blocked", "pump filter full of fluff", "filter blocked with coins"),
    ("drains into bucket", "yes"): ("drains into bucket ok", "drains into bucket", "drains fine into bucket"),
    ("drains into bucket", "no"): ("does not drain into bucket", "won't drain into bucket", "not draining into bucket"),
    ("sump hose", "clear"): ("sump hose clear", "sump hose ok"),
    ("sump hose", "blocked"): ("sump hose blocked", "sump hose part blocked", "blockage in sump hose"),
    ("air tube", "clear"): ("air tube clear", "air tube ok"),
    ("air tube", "blocked"): ("air tube blocked", "air tube dirty and blocked"),
    ("pump sound", "normal"): ("pump sounds normal", "pump runs normal", "pump running ok"),
    ("pump sound", "hums"): ("pump hums", "pump humming", "pump just hums"),
    ("pump sound", "silent"): ("pump silent", "no sound from pump", "pump dead quiet"),
    ("pump winding", "good"): ("pump winding good", "pump tested ok", "pump 150 ohm"),
    ("pump winding", "open"): ("pump winding o/c", "pump o/c", "pump open circuit"),
    ("suds", "yes"): ("foam seen", "full of suds", "suds in drum"),
    ("suds", "no"): ("no suds", "no foam"),
    ("drum", "normal"): ("drum normal", "drum turns ok"),
    ("drum", "free"): ("drum spins free", "drum free"),
    ("drum", "rough"): ("drum rough", "drum play", "drum rumbles by hand"),
    ("drum", "stiff"): ("drum stiff", "drum hard to turn"),
    ("belt", "good"): ("belt ok", "belt good"),
    ("belt", "off or worn"): ("belt off", "belt worn", "belt snapped"),
    ("brushes", "good"): ("brushes ok", "brushes good"),
    ("brushes", "worn"): ("brushes worn", "brushes worn right down", "brushes short"),
    ("dampers", "good"): ("dampers ok", "dampers good"),
    ("dampers", "weak"): ("dampers weak", "dampers gone"),
    ("load", "even"): ("load even", "load ok"),
    ("load", "single heavy item"): ("single heavy item in drum", "one heavy item in drum", "single duvet in drum"),
    ("element", "good"): ("element tested ok", "element good", "element 25 ohm"),
    ("element", "open"): ("element o/c", "element open circuit", "elem o/c"),
    ("element", "to earth"): ("element down to earth", "element to earth"),
    ("insulation", "good"): ("insulation good", "IR good", "insulation test ok"),
    ("insulation", "low"): ("insulation low", "IR low", "low insulation"),
    ("ntc", "good"): ("ntc ok", "ntc good"),
    ("ntc", "out of range"): ("ntc out of range", "ntc reading wrong"),
    ("wiring", "good"): ("wiring ok", "wiring good"),
    ("wiring", "damaged or wet"): ("wiring damaged", "wiring wet", "wiring burnt"),
    ("door seal", "good"): ("door seal ok", "door seal good"),
    ("door seal", "torn or worn"): ("door seal torn", "door seal worn", "split in door seal"),
    ("leak place", "front"): ("leak from front", "leaking at front"),
    ("leak place", "below"): ("leak from below", "leaking underneath"),
    ("leak place", "dispenser"): ("leak from dispenser", "leaking at soap drawer"),
    ("leak place", "back"): ("leak from back", "leaking at back"),
    ("door lock", "good"): ("door lock ok", "door lock tested ok"),
    ("door lock", "burnt or broken"): ("door lock burnt", "door lock broken"),
    ("tap flow", "good"): ("tap flow good", "good flow at tap"),
    ("tap flow", "low"): ("low flow at tap", "tap flow low", "low pressure at tap"),
    ("inlet filter", "clear"): ("inlet filter clear", "inlet filter clean"),
    ("inlet filter", "blocked"): ("inlet filter blocked", "inlet filter full of grit"),
    ("valve coil", "good"): ("valve coil ok", "valve coil good"),
    ("valve coil", "open"): ("valve coil o/c", "valve coil open circuit"),
    ("float", "normal"): ("float normal", "float ok"),
    ("float", "tripped"): ("float tripped", "float up, water in base"),
    ("socket", "live"): ("socket live", "supply ok", "socket tested ok"),
    ("socket", "dead"): ("socket dead", "no supply at socket"),
    ("mains filter test", "good"): ("mains filter ok", "mains filter good"),
    ("mains filter test", "open"): ("mains filter o/c", "mains filter open circuit"),
    ("lint path", "clear"): ("lint path clear", "no lint", "air path clear"),
    ("lint path", "blocked"): ("lint path blocked", "full of lint", "condenser full of fluff"),
    ("toc", "good"): ("toc ok", "TOC tested ok"),
    ("toc", "open"): ("toc o/c", "TOC open circuit"),
    ("capacitor", "good"): ("capacitor ok", "capacitor good"),
    ("capacitor", "low"): ("capacitor low", "capacitor reads low"),
    ("rollers", "good"): ("rollers ok", "rollers good"),
    ("rollers", "worn"): ("rollers worn", "drum rollers worn"),
    ("moisture bars", "clean"): ("moisture bars clean", "sensor bars clean"),
    ("moisture bars", "coated"): ("moisture bars coated", "sensor bars coated"),
    ("sump filter", "clear"): ("sump filter clear", "filter clear"),
    ("sump filter", "blocked"): ("sump filter blocked", "filter blocked"),
    ("spray arms", "free"): ("spray arms free", "spray arms ok"),
    ("spray arms", "blocked"): ("spray arms blocked", "spray arm holes blocked"),
    ("circulation sound", "normal"): ("circulation pump sounds normal", "wash pump sounds normal"),
    ("circulation sound", "weak"): ("circulation pump weak", "wash pump sounds weak"),
    ("circulation sound", "silent"): ("circulation pump silent", "no sound from wash pump"),
    ("evaporator", "normal"): ("evaporator normal", "no ice on evaporator"),
    ("evaporator", "frosted"): ("evaporator frosted", "evaporator iced up", "ice on evaporator"),
    ("door closes", "tight"): ("door closes tight", "door shuts tight"),
    ("door closes", "loose"): ("door seal loose", "door not sealing", "paper pulls out of door seal"),
    ("fan", "runs"): ("fan runs", "fan running"),
    ("fan", "silent"): ("fan not running", "fan silent"),
    ("fan", "scrapes"): ("fan scrapes", "fan catching"),
    ("condenser", "clean"): ("condenser clean",),
    ("condenser", "dirty"): ("condenser dirty", "condenser full of dust"),
    ("compressor", "runs"): ("compressor runs", "compressor running"),
    ("compressor", "silent"): ("compressor silent", "compressor not running"),
    ("compressor", "clicks"): ("compressor clicks", "compressor clicking"),
    ("defrost drain", "clear"): ("defrost drain clear", "drain hole clear"),
    ("defrost drain", "blocked"): ("defrost drain blocked", "drain hole blocked"),
    ("thermostat test", "good"): ("thermostat ok", "stat tested ok"),
    ("thermostat test", "faulty"): ("thermostat faulty", "stat faulty"),
    ("oven fan", "turns"): ("oven fan turns", "oven fan ok"),
    ("oven fan", "still"): ("oven fan still", "oven fan not turning"),
    ("ring", "good"): ("ring tested ok", "ring good"),
    ("ring", "open"): ("ring o/c", "ring open circuit"),
    ("pan", "magnetic"): ("pan magnetic",),
    ("pan", "not magnetic"): ("pan not magnetic",),
    ("air path", "clear"): ("air path clear", "hose and head clear"),
    ("air path", "blocked"): ("hose blocked", "air path blocked", "head blocked"),
    ("filter state", "clean"): ("filter clean",),
    ("filter state", "clogged"): ("filter clogged", "filter full"),
    ("cable", "good"): ("cable ok", "cable good"),
    ("cable", "broken"): ("cable broken", "cable broken at plug"),
    ("battery", "good"): ("battery ok", "battery good"),
    ("battery", "weak"): ("battery weak", "battery flat in a minute"),
}

CAUSE_SAID: dict[str, tuple[str, ...]] = {
    "blocked pump filter": ("blocked filter", "filter blocked", "pump filter blocked", "coins in pump filter"),
    "partly blocked sump hose": ("sump hose part blocked", "partial blockage sump hose", "blocked sump hose",
                                 "blockage in sump hose"),
    "blocked drain hose or standpipe": ("drain hose blocked", "standpipe blocked", "kinked drain hose"),
    "drain pump seized or open circuit": ("drain pump seized", "pump seized", "drain pump o/c", "faulty drain pump"),
    "level sensor fault": ("level sensor", "faulty level sensor", "pressure sensor fault", "level sensor faulty"),
    "air tube or chamber blocked": ("air tube blocked", "air chamber blocked", "pressure tube blocked"),
    "control board not driving pump": ("PCB not driving pump", "board not driving pump"),
    "loose plug or wiring at pump": ("loose plug at pump", "pump wiring loose"),
    "suds lock": ("too much detergent", "suds lock, too much powder"),
    "worn motor brushes": ("motor brushes worn", "brushes worn", "carbon brushes worn"),
    "load out of balance": ("out of balance load", "unbalanced load"),
    "drive belt off or worn": ("belt off", "belt worn", "drive belt worn"),
    "worn dampers": ("dampers worn", "shock absorbers worn"),
    "heating element open circuit": ("element o/c", "heating element o/c", "elem open circuit", "element failed"),
    "heating element to earth": ("element down to earth", "heating element to earth", "elem to earth"),
    "ntc probe out of range": ("NTC faulty", "ntc out of range", "NTC probe"),
    "torn door seal": ("door seal torn", "split door seal", "door gasket split"),
    "loose hose or clip": ("hose loose", "loose hose clip", "hose clip loose"),
    "blocked dispenser": ("dispenser blocked", "soap drawer blocked"),
    "worn drum bearings": ("drum bearings worn", "bearings worn", "bearings gone"),
    "foreign object in tub or pump": ("coin in tub", "foreign object in pump", "bra wire in tub"),
    "door lock faulty": ("faulty door lock", "door lock failed", "door interlock faulty"),
    "door handle or hook broken": ("door handle broken", "door hook broken"),
    "tap closed or low pressure": ("tap closed", "low water pressure"),
    "inlet filter blocked": ("inlet filter blocked with grit", "blocked inlet filter"),
    "inlet valve coil open": ("inlet valve o/c", "fill valve coil o/c", "inlet valve faulty"),
    "flood float tripped": ("float tripped", "water in base, float tripped"),
    "plug fuse or socket fault": ("plug fuse blown", "socket fault", "blown fuse in plug"),
    "control board failed": ("PCB failed", "main board failed", "faulty PCB"),
    "lint blockage in air path": ("blocked with lint", "lint blockage", "air path blocked with fluff", "condenser blocked"),
    "thermal cut-out tripped by poor airflow": ("TOC tripped, poor airflow", "toc tripped by blockage"),
    "drive belt broken": ("belt broken", "belt snapped", "drive belt snapped"),
    "motor capacitor low": ("capacitor low", "motor capacitor weak"),
    "worn drum rollers": ("drum rollers worn", "rollers worn"),
    "moisture bars coated": ("sensor bars coated", "moisture sensor bars dirty"),
    "sump filter blocked": ("filter blocked", "blocked filter", "sump blocked"),
    "spray arms blocked": ("spray arm blocked", "blocked spray arms"),
    "circulation pump weak": ("circ pump weak", "circulation pump worn"),
    "wrong detergent or no salt": ("no salt", "wrong detergent"),
    "flow heater open circuit": ("flow heater o/c", "heater o/c"),
    "sump seal leak": ("sump seal leaking", "leaking sump seal"),
    "defrost heater open circuit": ("defrost heater o/c", "defrost heater failed"),
    "evaporator fan stopped": ("evap fan stopped", "fan motor failed"),
    "thermostat faulty": ("faulty thermostat", "stat faulty", "thermostat failed"),
    "defrost drain blocked": ("blocked defrost drain", "drain hole blocked"),
    "door seal leaking or door left open": ("door seal leaking", "door left open"),
    "condenser dirty": ("dirty condenser",),
    "oven element open circuit": ("element o/c", "oven element o/c", "fan oven element failed"),
    "oven element to earth": ("element to earth", "oven element down to earth"),
    "oven fan motor failed": ("fan motor failed", "oven fan motor seized"),
    "blocked hose or head": ("hose blocked", "head blocked"),
    "battery pack weak": ("battery weak", "weak battery"),
}

PART_SAID: dict[str, tuple[str, ...]] = {
    "drain pump": ("pump", "Drain Pump", "outlet pump"),
    "level sensor": ("Level sensor", "pressure sensor", "water level sensor"),
    "control board": ("PCB", "main board", "control PCB"),
    "motor brushes": ("brushes", "carbon brushes", "motor brush set"),
    "drive belt": ("belt", "Drive belt"),
    "damper set": ("dampers", "shock absorbers"),
    "drive motor": ("motor", "Motor"),
    "heating element": ("element", "elem", "heater element"),
    "ntc probe": ("NTC", "ntc sensor"),
    "door seal": ("door gasket", "Door seal"),
    "bearing kit": ("bearings", "bearing set"),
    "inlet valve": ("fill valve", "Inlet valve"),
    "door lock": ("door interlock", "Door lock"),
    "door handle": ("handle",),
    "toc kit": ("TOC", "TOC kit", "thermal cut-out kit"),
    "thermostat": ("stat", "Thermostat"),
    "motor capacitor": ("capacitor", "cap 8uF"),
    "roller kit": ("drum rollers", "rollers"),
    "circulation pump": ("circ pump", "wash pump"),
    "evaporator fan": ("evap fan", "fan"),
    "fridge door seal": ("door seal", "door gasket"),
    "oven element": ("element", "fan oven element"),
    "oven fan motor": ("fan motor", "oven fan"),
    "defrost heater": ("defrost htr", "Defrost heater"),
    "ceramic ring": ("ring", "hotplate ring"),
    "battery pack": ("battery",),
    "vacuum filter": ("filter",),
    "suction hose": ("hose",),
}

OUTCOME_SAID: dict[str, tuple[str, ...]] = {
    "fixed": ("fixed", "Fixed", "completed", "repaired", "job done", "OK"),
    "not fixed": ("not fixed", "Not fixed", "return visit needed"),
    "part needed": ("part needed", "awaiting part", "parts on order", "Part needed"),
    "no fault found": ("no fault found", "NFF", "nff"),
    "beyond economic repair": ("BER", "beyond economic repair", "uneconomic"),
    "declined": ("declined", "quote declined", "Customer declined"),
    "no access": ("no access", "No access", "not home"),
    "made safe": ("made safe", "Made safe"),
    "advice only": ("advice only", "advice given"),
}

DONE: dict[str, tuple[str, ...]] = {
    "fixed": ("tested ok", "tested ok on short programme", "all ok on test", "left working", ""),
    "not fixed": ("still faulty on test", "will return", ""),
    "part needed": ("part ordered", "to order part", "ETA 5 days", ""),
    "no fault found": ("ran full programme, ok", "could not reproduce fault", "tested, working ok"),
    "beyond economic repair": ("quoted, not worth repairing", "advised replacement"),
    "declined": ("quoted, customer declined", "customer will think about it"),
    "no access": ("carded", "no answer at door", "called twice, no answer"),
    "made safe": ("isolated and labelled, refer to gas engineer",),
    "advice only": ("advised customer", "advice given by phone"),
}

MISTYPE = {"draining": "drainig", "spinning": "spining", "heating": "heatting", "leaking": "leeking", "machine": "mashine",
           "noise": "nosie", "turning": "turnning", "water": "watter", "filling": "filing", "cleaning": "claening",
           "cooling": "coolling", "tripping": "triping", "working": "workign", "emptying": "empyting"}  # fmt: skip


def _one(rng: np.random.Generator, forms: tuple[str, ...]) -> str:
    return forms[int(rng.integers(len(forms)))]


def symptom(rng: np.random.Generator, kind: str, term: str) -> str:
    """Word one said symptom."""
    for (kinds, name), forms in SAID_OF_KIND.items():
        if name == term and kind in kinds:
            return _one(rng, forms)
    return _one(rng, SAID[term])


def mistyped(rng: np.random.Generator, text: str, chance: float = 0.05) -> str:
    """Misspell one word of a text now and then: a common slip, or one letter dropped or doubled in a long word."""
    if rng.random() >= chance:
        return text
    words = text.split(" ")
    for number, word in enumerate(words):
        if word in MISTYPE:
            words[number] = MISTYPE[word]
            return " ".join(words)
    long = [number for number, word in enumerate(words) if len(word) >= 7 and word.isalpha()]
    if long:
        number = long[int(rng.integers(len(long)))]
        word, at = words[number], int(rng.integers(2, len(words[number]) - 1))
        words[number] = word[:at] + word[at + 1 :] if rng.random() < 0.5 else word[:at] + word[at - 1 :]
    return " ".join(words)


def complaint(rng: np.random.Generator, kind: str, symptoms: Mapping[str, bool], shows_code: bool) -> tuple[str, dict[str, str]]:
    """Word a complaint.

    Returns
    -------
    tuple
        The text, and what it truly says: symptom → ``said``, ``denied`` or ``doubtful``.
    """
    truth: dict[str, str] = {}
    said: list[str] = []
    for term, is_said in symptoms.items():
        if not is_said:
            continue
        text = symptom(rng, kind, term)
        truth[term] = "said"
        if said and rng.random() < 0.08:
            text, truth[term] = _one(rng, DOUBTS).format(text), "doubtful"
        said.append(text)
    if shows_code and rng.random() < 0.3:
        said.append(_one(rng, SAID["lamps or code shown"]))
        truth["lamps or code shown"] = "said"
    if not said:
        said.append(_one(rng, VAGUE))
    joined = said[0]
    for text in said[1:]:
        joined += _one(rng, (", ", " and ", " & ", ", ", "; ", " + ")) + text
    for term in (term for term, is_said in symptoms.items() if not is_said and term in DENIED):
        joined += _one(rng, (", ", ", ", " but ", "; ")) + _one(rng, DENIED[term])
        truth[term] = "denied"
    text = _one(rng, OPENINGS) + mistyped(rng, joined) + _one(rng, CLOSINGS)
    if rng.random() < 0.25:
        text = text[0].upper() + text[1:]
    elif rng.random() < 0.05:
        text = text.upper()
    return text, truth


def findings(rng: np.random.Generator, found: Mapping[str, str]) -> str:
    """Word what was found: the tool's own ``finding=value`` form, or short phrases."""
    if rng.random() < 0.6:
        return "; ".join(f"{finding}={value}" for finding, value in found.items())
    return ", ".join(_one(rng, FOUND.get((finding, value), (f"{finding}={value}",))) for finding, value in found.items())


def cause(rng: np.random.Generator, term: str, is_doubtful: bool) -> str:
    """Word a cause, as found or as a guess."""
    forms = CAUSE_SAID.get(term, (term.replace("open circuit", "o/c").replace("control board", "PCB"),))
    text = term if rng.random() < 0.55 else _one(rng, forms)
    if is_doubtful:
        return _one(rng, ("? {}", "poss {}", "?{}", "possibly {}", "suspect {}")).format(text)
    return text[0].upper() + text[1:] if rng.random() < 0.2 else text


def part_number(part: str) -> str:
    """Return an invented part number, always the same for a part."""
    letters = "".join(word[0] for word in part.split())[:2].upper().ljust(2, "X") + part[-1].upper()
    return f"{letters}-{100 + sum(map(ord, part)) % 900}"


def part_line(rng: np.random.Generator, part: str, price: float) -> str:
    """Word one part line; the price is left out now and then."""
    name = part if rng.random() < 0.6 else _one(rng, PART_SAID.get(part, (part,)))
    at = f"{price:.2f}"
    return _one(
        rng,
        (f"{name} x1 @ {at}", f"1 x {part_number(part)} {name} @ {at}", f"{name} @ {at}", f"{name} @ £{at}", f"1 x {name}",
         name, f"1x {name} @ {at}", f"{name} x1 @ {at}"),
    )  # fmt: skip


def age(rng: np.random.Generator, years: float, year: int) -> tuple[str, float]:
    """Word an age; returns the text and the years it says (NaN: it says none)."""
    at = rng.random()
    months = max(round(years * 12), 0)
    whole = max(round(years), 1)
    nearest = whole if abs(years - whole) < 0.5 else int(years)
    if at < 0.12:
        return "", float("nan")
    if at < 0.15:
        return _one(rng, ("?", "unknown", "out of warranty", "old", "not known", "n/k")), float("nan")
    if years < 0.25 and at < 0.6:
        return _one(rng, ("new", "New", "brand new")), 0.0
    if years < 1:
        return _one(rng, (f"{max(months, 1)} months", f"{max(months, 1)} mths", f"{max(months, 1)}m")), max(months, 1) / 12
    if at < 0.3:
        return _one(rng, (f"{months // 12}y{months % 12}m", f"{months // 12}y {months % 12}m")), months / 12
    if at < 0.36 and years < 5:
        return f"{months} months", months / 12
    if at < 0.5:
        made = year - int(years) if rng.random() < 0.5 else year - whole
        return str(made), float(year - made)
    if at < 0.58:
        above = int(years) + 1
        if above - years < 0.4:
            return _one(rng, (f"nearly {above} years", f"nearly {above} yrs", f"almost {above} years")), float(above)
    if at < 0.68:
        return _one(rng, (f"about {nearest}", f"approx {nearest} yrs", f"about {nearest} years", f"c. {nearest} years")), float(nearest)
    if at < 0.8:
        return str(nearest), float(nearest)
    return _one(rng, (f"{nearest} yrs", f"{nearest}yrs", f"{nearest} years", f"{nearest} yr", f"{nearest} years old")), float(nearest)


def money(rng: np.random.Generator, amount: float) -> str:
    """Word an amount of money."""
    plain = f"{amount:.2f}"
    whole = f"{amount:.0f}" if amount == round(amount) else plain
    return _one(rng, (plain, plain, plain, f"£{amount:,.2f}", f"£{whole}", f"{amount:,.2f}", f"GBP {plain}"))


def duration(rng: np.random.Generator, minutes: int) -> str:
    """Word a duration."""
    hours, rest = divmod(minutes, 60)
    return _one(rng, (str(minutes), str(minutes), str(minutes), f"{minutes} min", f"{minutes} mins", f"{hours}h{rest:02d}"))


def serial(rng: np.random.Generator, number: str) -> str:
    """Write a serial as technicians do: O for 0 now and then, spaces, dashes, small letters."""
    text = number
    if rng.random() < 0.12:
        text = text.replace("0", "O")
    at = rng.random()
    if at < 0.1:
        text = f"{text[:4]} {text[4:]}"
    elif at < 0.2:
        text = f"{text[:2]}-{text[2:]}"
    elif at < 0.28:
        text = text.lower()
    return text


def make(rng: np.random.Generator, name: str) -> str:
    """Write a make: now and then in capitals, small letters or with a stray space."""
    at = rng.random()
    return name.upper() if at < 0.08 else name.lower() if at < 0.16 else f" {name}" if at < 0.18 else name


def model(rng: np.random.Generator, name: str) -> str:
    """Write a model: now and then with a space or a dash before the variant, or in small letters."""
    at = rng.random()
    if at < 0.08:
        return name.lower()
    if at < 0.16:
        return f"{name[:2]} {name[2:]}"
    if at < 0.24 and len(name) > 5:
        return f"{name[:5]}-{name[5:]}"
    return name


def code(rng: np.random.Generator, normal: str) -> str:
    """Write a code in one of the ways it is met: ``E05``, ``E5``, ``E:05``, ``err 5``, ``lamps 1 and 3``, ``4 flashes, pause``."""
    if normal.startswith("lamps "):
        lamps = normal[6:].split("+")
        named = " and ".join([", ".join(lamps[:-1]), lamps[-1]]) if len(lamps) > 1 else lamps[0]
        plural = "lamps" if len(lamps) > 1 else "lamp"
        return _one(rng, (f"{plural} {'+'.join(lamps)}", f"{plural} {named}", f"{plural} {named} lit", f"{plural} {'+'.join(lamps)}"))
    if normal.endswith(" flashes"):
        count = normal.split(" ")[0]
        return _one(rng, (f"{count} flashes", f"{count} flashes, pause", f"{count}x flash", f"flashes {count} times"))
    if normal[1:].isdigit():
        letter, digits = normal[0], normal[1:]
        short = digits.lstrip("0")
        return _one(
            rng,
            (normal, normal, normal, f"{letter}{short}", f"{letter}:{digits}", f"err {short}", f"code {letter}-{digits}",
             f"{letter.lower()}{digits}", f"{letter} {digits}"),
        )  # fmt: skip
    return _one(rng, (normal, normal.lower(), normal.capitalize(), f"code {normal}"))


def kind(rng: np.random.Generator, term: str) -> str:
    """Write a kind of appliance; the full name more often than an abbreviation."""
    return term if rng.random() < 0.35 else _one(rng, KIND_SAID[term])


def outcome(rng: np.random.Generator, term: str) -> str:
    """Write an outcome."""
    return term if rng.random() < 0.5 else _one(rng, OUTCOME_SAID[term])


