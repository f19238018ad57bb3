"""What people say when something can hurt at once, by the door it comes in at; and what only sounds like it."""

from __future__ import annotations

Phrasing = tuple[str, str, str]  # door, kind, text


def at_doors(complaints: str, doors: dict[str, str] | None = None) -> tuple[Phrasing, ...]:
    """Lines "kind: text" of a complaint; ``doors`` are lines for other doors."""
    said = [("complaint", line) for line in complaints.strip().splitlines()]
    for door, lines in (doors or {}).items():
        said += [(door, line) for line in lines.strip().splitlines()]
    return tuple((door, *line.strip().split(": ", 1)) for door, line in said)  # type: ignore[misc]


SHOCK = at_doors(
    """
    washing machine: I got an electric shock off it
    washing machine: shock from the casing when I touched it with wet hands, works fine otherwise
    tumble dryer: gave me a tingle off the door when i touch it and the sink together
    washing machine: electric shock from the drum
    electric oven: electric shock when touching the handle
    dishwasher: wife got a shock off the door
    washing machine: casing is live, customer got zapped
    washing machine: get a small shock when loading it
    washing machine: shocks me every time i open the door
    dishwasher: electric shocks from the sink when its running
    fridge: buzzing feeling when you touch the handle
    cooker: customer says she was shocked when touching the hob
    tumble dryer: body is live
    electric oven: 230v on the casing
    washing machine: volts on the chassis
    cooker: it bites
    coffee machine: mild tingling off the metal
    microwave oven: zaps you when you touch it
    cooker hood: tingles your fingers
    washing machine: got a belt off the door
    vacuum cleaner: static shock off the wand
    washing machine: hubby electrocuted himself
    freezer: gives the kids a shock
    washing machine: its given my husband a nip when he leant on the door
    washing machine: felt a current through my hand
    electric oven: you feel electricity on the metal
    tumble dryer: neon screwdriver glows on the casing
    washing machine: sends a shock up your arm
    bread machine: got a shock off it
    washing machine: kribbelt wenn man ans Gehäuse fasst
    washing machine: Stromschlag an der Trommel
    washing machine: man bekommt eine gewischt
    washing machine: Gehäuse steht unter Strom
    dishwasher: elektrisiert wenn man die Tür anfasst
    fridge: Kunde hat einen Schlag bekommen
    electric oven: bitzelt am Griff
    washing machine: Gehaeuse unter Spannung
    washing machine: Phasenprüfer leuchtet am Gehäuse
    tumble dryer: Strom auf dem Blech
    """,
    {
        "found": "washing machine: shock off the drum\nfridge: casing live\nelectric oven: Spannung am Gehäuse",
        "code": "washing machine: gives shock",
        "notes": "dishwasher: tenant got a shock from the door last week\nwashing machine: Kunde elektrisiert",
    },
)
NO_SHOCK = at_doors(
    """
    washing machine: shock absorber broken
    washing machine: shock absorbers gone, bangs on spin
    washing machine: shock gone on left side, bangs on spin
    washing machine: new shocks fitted last year, still bangs
    washing machine: two shocks broken
    washing machine: suspension shocks worn, walks about
    washing machine: dampers weak
    electric hob: thermal shock cracked the glass
    washing machine: no shocks, just noisy
    washing machine: live in a flat on 3rd floor, not draining
    washing machine: customer shocked at the price, wants it fixed, leaks
    washing machine: socket tested with lamp and its live
    washing machine: drive belt came off the drum
    washing machine: bites clothes when spinning
    microwave oven: used to zap food fine, now dead
    washing machine: Stoßdämpfer defekt
    washing machine: Keilriemen unter Spannung
    washing machine: kein Schlag, nur laut
    washing machine: Trommel schlägt beim Schleudern
    """,
    {
        "found": "washing machine: shock absorber=worn\nwashing machine: electric shock=no",
        "code": "washing machine: K07",
    },
)
WATER = at_doors(
    """
    dishwasher: puddle under it running towards the socket, E15 type code, float switch maybe
    dishwasher: flooded, water running into the socket
    washing machine: water all over kitchen floor near socket strip, stops with 2 lamps
    washing machine: leaks from bottom onto the extension lead, breaker trips
    washing machine: plug wet
    washing machine: leaking onto the plug
    dishwasher: water dripping on to the socket behind
    washing machine: water got into the extension lead
    washing machine: wet floor by the fuse board
    washing machine: water coming through the light below
    washing machine: water dripping through ceiling light downstairs
    dishwasher: plug sitting in water
    washing machine: leaked all over the trailing socket
    fridge: puddle reaching the multi plug
    fridge-freezer: dripping onto the socket
    coffee machine: leaks over the plug
    washing machine: flooding, socket is under water
    washing machine: pouring down the wall over the sockets
    washing machine: Wasser läuft in die Steckdose
    washing machine: Steckdose ist nass
    dishwasher: tropft auf die Mehrfachsteckdose
    washing machine: Wasser bis an den Sicherungskasten
    washing machine: es läuft auf die Verlängerung
    dishwasher: Stecker liegt im Wasser
    washing machine: Wasser tropft unten aus der Lampe
    """,
    {
        "found": "washing machine: water on the plug\ndishwasher: Steckdose nass",
        "code": "washing machine: water at socket",
        "notes": "washing machine: floor wet under the extension lead",
    },
)
NO_WATER = at_doors(
    """
    washing machine: leaks, plugged into the wall socket
    washing machine: leaking from drain plug
    washing machine: leaks but not near the socket
    washing machine: mains water tap closed, leaks
    dishwasher: leaks, lights flash
    dishwasher: water running, lights on
    washing machine: water on plug at pump
    washing machine: leaks, socket dry
    washing machine: runs then lights flash on the panel
    dishwasher: takes too long, runs and runs
    washing machine: läuft aus, Stecker gezogen
    dishwasher: Wasser am Boden, Stecker trocken
    """,
    {"found": "washing machine: water left=yes"},
)
FLEX = at_doors(
    """
    microwave oven: mice chewed the cable, plate dosent turn
    washing machine: wont drain, plug is melted
    washing machine: mains lead is frayed
    fridge: bare wires showing at the plug
    vacuum cleaner: flex is split near the handle
    tumble dryer: plug is burnt
    washing machine: the socket melted
    dishwasher: dog chewed through the lead
    fridge: cable damaged
    microwave oven: plug cracked
    cooker hood: scorched plug
    coffee machine: cord frayed at the end
    freezer: rat bit through the cable
    vacuum cleaner: copper showing on the flex
    tumble dryer: plug gets hot and smells
    washing machine: socket all burnt behind it
    washing machine: flex trapped and crushed under the foot
    washing machine: power lead cracked
    washing machine: Kabel angenagt
    fridge: Mäuse haben das Netzkabel angefressen
    tumble dryer: Stecker ist verschmort
    washing machine: blanke Drähte am Stecker
    vacuum cleaner: Kabel durchgescheuert
    dishwasher: Netzkabel beschädigt
    fridge: Steckdose verschmort
    """,
    {"found": "washing machine: plug=melted\nfridge: Zuleitung blank", "notes": "fridge: mouse chewed the flex"},
)
NO_FLEX = at_doors(
    """
    washing machine: pump plug burnt
    washing machine: burnt plug on pump
    washing machine: spark plug noise
    washing machine: cable ok, dead
    washing machine: plug fuse blown
    vacuum cleaner: cable rewind slow
    washing machine: lead time please, dead
    washing machine: plug and socket fine, dead
    dishwasher: cable does not reach
    washing machine: unplugged it, cut out again
    washing machine: Stecker an der Pumpe verschmort
    washing machine: Kabel in Ordnung, tot
    """
)
DOOR = at_doors(
    """
    microwave oven: door dont shut right, still goes
    microwave oven: door wont close
    microwave oven: door is bent
    microwave oven: runs with the door open
    microwave oven: hinge broken
    microwave oven: glass in the door cracked
    microwave oven: door not latching
    microwave oven: catch broken
    microwave oven: gap at the top of the door
    microwave oven: starts with door open
    microwave oven: door pops open
    microwave oven: have to hold the door shut
    microwave oven: door dropped on one side
    microwave oven: door wont stay shut
    microwave oven: loose door
    microwave oven: door hanging off
    microwave oven: damaged door seal
    microwave oven: door doesnt close properly
    microwave oven: door cracked
    microwave oven: Tür schließt nicht richtig
    microwave oven: Tür geht nicht zu
    microwave oven: läuft bei offener Tür
    microwave oven: Tür verzogen
    microwave oven: Scharnier gebrochen
    microwave oven: Spalt an der Tür
    """,
    {"found": "microwave oven: door bent"},
)
NO_DOOR = at_doors(
    """
    microwave oven: door light out
    microwave oven: plate does not turn, door shuts ok
    microwave oven: door will not open
    microwave oven: door ok, dead
    microwave oven: no heat
    microwave oven: turntable stuck
    microwave oven: noisy
    microwave oven: door closes fine, no heat
    microwave oven: Tür geht nicht auf
    microwave oven: Tür in Ordnung, heizt nicht
    microwave oven: trips
    """
)
PIERCED = at_doors(
    """
    fridge: not cold, compressor runs all the time, oily patch at back and hissing, somebody stuck a knife in the ice
    freezer: customer stabbed the freezer with screwdriver, hiss, now warm
    freezer: used an ice pick on the ice, gone warm
    freezer: scraped the ice off with a knife and it hissed
    fridge: punctured the freezer plate
    heat-pump dryer: oily residue under it, not drying
    fridge: hissing then stopped cooling
    freezer: chipping ice out with a screwdriver
    fridge-freezer: pierced the evaporator defrosting it
    freezer: hole in the evaporator
    fridge: oil on the pipe at the back
    freezer: hacked the frost off with a chisel, warm now
    fridge: hiss, now warm
    fridge: knife went in the back wall
    fridge: broke the capillary
    freezer: nicked a pipe when defrosting
    wine cooler: drilled through the wall of it
    heat-pump dryer: pierced a pipe
    fridge: Kunde hat mit dem Messer ins Eis gestochen
    freezer: mit Schraubendreher enteist, zischte, jetzt warm
    fridge: Verdampfer angestochen
    freezer: Loch im Verdampfer
    fridge: Ölfleck unter dem Gerät, kühlt nicht
    freezer: beim Abtauen angebohrt
    Kühlschrank: beim Abtauen bin ich mit dem Schraubenzieher abgerutscht, hat kurz gepfiffen, seitdem wird er nicht mehr kalt
    freezer: the scraper slipped while I was defrosting and it has been warm since
    fridge: hat gezischt, kühlt nicht mehr
    """,
    {"found": "fridge: evaporator pierced", "notes": "freezer: stabbed with a knife"},
)
NOT_PIERCED = at_doors(
    """
    fridge: hissing from the back
    freezer: frosted up, ice on the back
    fridge: knife drawer next to it, noisy
    tumble dryer: screwdriver in the drum
    washing machine: screwdriver in pump, hissing
    fridge: ice on the back wall
    freezer: door seal torn
    washing machine: punctured hose, leaks
    freezer: scraped the kitchen floor moving it, noisy
    fridge: zischt hinten
    dishwasher: Messer in der Pumpe
    """
)
FUMES = at_doors(
    """
    gas hob: new LPG bottle put on, flames all yellow and sooting the pans
    cooker: carbon monoxide alarm went off
    cooker: headache when it is on
    cooker: CO alarm keeps going off
    gas hob: orange flame
    cooker: soot on pans
    cooker: flames are yellow
    electric hob: lazy yellow flame
    cooker: monoxide detector beeping
    gas hob: burning yellow
    cooker: feel dizzy when cooking
    gas cooker: sooty marks up the wall
    washing machine: co alarm went off in the kitchen
    cooker: fumes
    gas hob: flame yellow and floppy
    cooker: makes us feel sick
    cooker: light headed after cooking
    gas oven: soot round the flue
    cooker: Flamme gelb und rußt
    cooker: Kopfschmerzen beim Kochen
    electric oven: CO-Melder piept
    gas hob: gelbe Flamme
    cooker: Töpfe verrußt
    washing machine: Kohlenmonoxid Alarm in der Küche
    gas hob: Flammen sind orange
    """,
    {
        "found": "cooker: burner: yellow\nelectric hob: Flamme gelb",
        "code": "cooker: CO alarm",
        "notes": "cooker: CO alarm last night",
    },
)
NO_FUMES = at_doors(
    """
    washing machine: the noise gives me a headache
    washing machine: yellow stains on clothes
    fridge: yellow light on
    washing machine: alarm went off, lamps flash
    dishwasher: fumes of detergent
    tumble dryer: co operates no more, dead
    electric hob: orange light on
    microwave oven: yellow lamp
    washing machine: feel sick of it, not draining
    washing machine: gelbe Lampe blinkt
    fridge: Kopfschmerzen vom Lärm
    """
)
EARTH: tuple[tuple[str, str, str], ...] = (
    # kind, text, finding and value that must be believed
    ("washing machine", "keeps chucking the trip switch out halfway thru, spark says 0.02 megs to earth on the element", "element=to earth"),
    ("washing machine", "0.02 megs to earth", "insulation=low"),
    ("washing machine", "trips rcd 0.02 meg to earth on the element", "element=to earth"),
    ("washing machine", "sparky measured 0.05 Mohm to earth", "insulation=low"),
    ("washing machine", "leccy says element 0.1 MΩ to earth", "element=to earth"),
    ("tumble dryer", "element 0.02 megohm to earth", "element=to earth"),
    ("tumble dryer", "element 20k to earth", "element=to earth"),
    ("tumble dryer", "element 5 kohm to earth", "element=to earth"),
    ("electric oven", "element reads low to earth", "element=to earth"),
    ("electric oven", "electrician found element down to earth", "element=to earth"),
    ("electric oven", "trips, reads low to earth", "insulation=low"),
    ("electric oven", "insulation tester says 0.04 meg", "insulation=low"),
    ("dishwasher", "insulation 0.1 megohms", "insulation=low"),
    ("dishwasher", "0.2 megs L to E", "insulation=low"),
    ("dishwasher", "L-E 0.1 MOhm", "insulation=low"),
    ("dishwasher", "tests 0.05 M ohm against the casing", "insulation=low"),
    ("washing machine", "motor 0.1 meg to earth", "earth fault at=motor"),
    ("washing machine", "pump 0.1 meg to earth", "earth fault at=pump"),
    ("washing machine", "mains filter 0.1 meg to earth", "mains filter test=to earth"),
    ("washing machine", "element .02 meg to ground", "element=to earth"),
    ("steam oven", "element 0,02 Mohm to earth", "element=to earth"),
    ("cooker", "spark reckons 0.03meg to earth", "insulation=low"),
    ("fridge", "0.01 MOhm to chassis", "insulation=low"),
    ("dishwasher", "FI fliegt raus, Elektriker hat 0,03 MOhm gegen PE gemessen", "insulation=low"),
    ("washing machine", "0,1 Megaohm gegen Erde", "insulation=low"),
    ("washing machine", "Isolation 0,05 MOhm", "insulation=low"),
    ("washing machine", "20 kOhm gegen Gehäuse", "insulation=low"),
)  # fmt: skip
NO_EARTH: tuple[tuple[str, str], ...] = (
    ("washing machine", "element 200 megohm to earth"),
    ("washing machine", "insulation 50 megs"),
    ("washing machine", "element 25 ohm"),
    ("washing machine", "pump 150 ohm"),
    ("washing machine", "not down to earth"),
    ("washing machine", "tested to earth ok"),
    ("electric oven", "element 1 meg to earth"),
    ("dishwasher", "500 MOhm gegen PE"),
    ("washing machine", "trips the earth leakage breaker when the element comes on"),
    ("washing machine", "nothing to earth"),
)

DANGERS: dict[str, str] = {  # caution that stands first: kind: what is said
    "microwave door": """
        microwave oven: goes on cooking when you open the door
        microwave oven: still heats when i open the door
    """,
    "microwave": """
        microwave oven: took the cover off the microwave to have a look at the fuse, want to know which bit to test
        microwave oven: unscrewed the back panel and poked inside at the fuse
    """,
    "electric shock": """
        microwave oven: my lad took the back off and touched something inside that threw him across the room, and it was unplugged
        microwave oven: husband touched the capacitor and it threw him back
    """,
    "damaged wiring": """
        washing machine: smell of eggs and the wiring looks chewed, we had mice in, still runs
        washing machine: wiring chewed by mice
        dishwasher: mice have eaten through the loom
        tumble dryer: found a mouse nest in the bottom of it and the wires are nibbled
        fridge: rats behind it, some wires have been got at
        electric oven: squirrel chewed the wiring
        vacuum cleaner: there are mouse droppings in it
        washing machine: rat droppings underneath and it is dead
        washing machine: die Mäuse haben die Verkabelung angefressen
        dishwasher: Mäusenest drin, Kabelbaum zerbissen
        tumble dryer: my brother in law had the back off and twisted the heater wires together with tape, now it gets ever so hot
        washing machine: the cables inside were joined with insulating tape by the last tenant
        Trockner: der Opa hat die Drähte zusammengedreht und mit Isolierband umwickelt
    """,
    "bypassed protection": """
        electric oven: previous bloke bridged the thermostat so now it gets far too hot, burns everything
        tumble dryer: the cut out has been bypassed
        tumble dryer: someone linked out the thermostat, it scorches clothes
        washing machine: door lock has been bypassed with a wire
        dishwasher: float switch wedged up
        tumble dryer: Thermostat überbrückt
        washing machine: Türschalter ist kurzgeschlossen
        washing machine: every time it heats up the whole house goes off, so I've taped the trip switch up, also drawer is mouldy
        dishwasher: door switch jammed with a matchstick so it runs open
        washing machine: ich habe den FI mit Klebeband festgeklebt damit er nicht rausfliegt
        tumble dryer: brother in law put a bit of wire across the little button at the back so it keeps going, now the clothes come out far too hot
        tumble dryer: reset button taped in so it stays down
        Trockner: ein Stück Draht über dem kleinen Knopf hinten, damit er weiterläuft
    """,
    "damaged flex": """
        electric oven: the socket behind the oven is crackling and hot to put your hand on
        cooker: the wall switch for the cooker is buzzing and theres a hot plasticky smell from it
        washing machine: the rabbit has had a go at the cable, you can see copper, otherwise it just smells a bit musty
        washing machine: beim Zurückschieben ist das Kabel hinten eingequetscht worden und jetzt fliegt ab und zu die Sicherung
        dishwasher: smells like fish or hot plastic when it runs, socket feels hot to touch, and tablet drawer sticks
        dishwasher: socket gets hot
        tumble dryer: plug's gone brown and soft on one side and I can't pull it out of the wall
        tumble dryer: Stecker ist ganz braun und weich geworden, klebt in der Dose fest, trocknet auch schlecht
        fridge: guinea pig nibbled the wire at the back
        dishwasher: lead is pinched behind the cupboard
        tumble dryer: das Kabel ist unter dem Fuß eingequetscht
        washing machine: Frettchen hat am Kabel genagt, man sieht das Kupfer
        tumble dryer: pins of the plug have gone black, socket cover has gone soft
        electric oven: Steckdose ist heiß und braun verfärbt
        washing machine: plug has welded itself into the socket
        tumble dryer: there's a brown patch coming up round the pins and you can't keep your hand on it, stops after half an hour
        freezer: the socket behind it has gone all wavy and yellowed, still freezing
        Geschirrspüler: an der Dose hinter der Maschine ist der Kunststoff ganz wellig und gelb geworden, sie geht mittendrin aus
    """,
    "water at mains": """
        dishwasher: leaked all over and ran down behind the units where the sockets are, oven and fridge gone off too
        washing machine: flooded all over the floor and it's gone right under the extension block, still plugged in
        washing machine: the cat weed on the back of it and it sizzles now
        dishwasher: four way extension is lying in a puddle
        washing machine: die Steckerleiste liegt im Wasser
        washing machine: dog peed up the side and now it crackles
        fridge: Katze hat hinten draufgepinkelt, es zischt
        dishwasher: spilt a pan of soup over the controls and it fizzes
    """,
    "battery": """
        vacuum cleaner: battery of the cordless has swollen up and is getting warm even off charge
        vacuum cleaner: cordless one, the battery pack has puffed up and won't sit in the handle, it gets really hot on charge
        vacuum cleaner: battery is swollen
        vacuum cleaner: der Akku ist dick geworden wie ein Kissen und saugt nicht mehr richtig
        vacuum cleaner: battery bulging out of its case and too warm to hold
        vacuum cleaner: Akku ist aufgebläht
        vacuum cleaner: battery pack swelled up, hisses on the charger
        vacuum cleaner: der Akku wird beim Laden richtig heiß
    """,
    "do not energise": """
        cooker: PAT lad failed it, chassis bonding reading 14 ohms, one ring dead too
        cooker: earth continuity 14 ohms
        tumble dryer: 0.2 meg from live to case
        cooker: earth bond measures 9 ohms
        dishwasher: insulation 0.3 megohm live to frame
        electric oven: each time I turn it on there's a blue crackle behind the knobs and the house goes dark
        electric hob: it fizzes behind the dial
        Backofen: hinter den Knebeln blitzt und knistert es blau
    """,
    "broken glass": """
        electric oven: inner pane went off like a gun and there are little cubes all over the rug
        electric hob: crack across the ceramic, it trips too
        Backofen: die innere Scheibe ist in Scherben
        washing machine: the window came down in a heap of sugar
        Backofen: vor dem Herd lagen tausend kleine Würfel
    """,
    "bang": """
        electric oven: loud bang, blue flash and half the house went dark
        microwave oven: made a loud hum then a bang
    """,
    "trips": """
        washing machine: keeps knocking off the RCD but only when it gets to heat up, cold wash is ok
        dishwasher: knocks the breaker off when it starts heating
        electric oven: throws the trip switch out after ten minutes
        tumble dryer: the fuse board keeps going off
        washing machine: breaker wont reset
        washing machine: kicks the rcd out on spin
        coffee machine: flicks the breaker down every morning
        fridge: rcd will not stay up with it plugged in
        electric hob: takes out the electrics when the left ring is on
        washing machine: FI springt raus beim Heizen
        dishwasher: die Sicherung haut es immer raus
        electric oven: hat einen Schlag getan, Stichflamme, und jetzt ist die halbe Wohnung dunkel
        washing machine: es hat geknallt und das halbe Haus ist dunkel
        washing machine: wenn sie heizt geht im ganzen Haus das Licht aus
    """,
    "water in the base": """
        dishwasher: wont start, door clicks shut ok, water's in the bottom underneath I can see it when I take the kickboard off
        washing machine: water under the machine, wont start
        dishwasher: it is wet behind the plinth
        dishwasher: took the kick plate off and there is a puddle
        dishwasher: wont come on, water underneath
        dishwasher: wenn ich die Sockelblende abnehme steht Wasser unter der Bodenwanne
    """,
    "burning smell": """
        tumble dryer: there was a bit of a glow behind the drum last night and the back wall is brown now
        tumble dryer: when i went to empty it the clothes were singed and theres black marks on the drum
        tumble dryer: smoke alarm went off when the dryer was on
        washing machine: Schleudert nicht mehr und riecht verschmort, Sicherung ist aber nicht geflogen
        tumble dryer: trocknet nicht mehr und stinkt verbrannt
        vacuum cleaner: smells hot then cuts out
        tumble dryer: the utility room was all hazy when I came in and it smelt like an iron left on a shirt
        tumble dryer: the towels came out with tan patches and I could taste it in the air
        electric hob: the whole kitchen went smoggy and it reeked like soldering
        Trockner: die Wäsche kam mit braunen Rändern raus und der ganze Flur war voller Qualm
        Waschmaschine: es müffelt wie altes Bügeleisen
        Trockner: hinter dem Flusensieb hat es orange geglimmt, hab ein nasses Handtuch drübergeworfen
        tumble dryer: glowing orange behind the lint screen, I threw a wet towel over it
    """,
    "hot outside": """
        electric oven: you can't hold the handle any more and my little girl blistered her palm on the front of the door
        electric hob: grandad leant on it half an hour after and has a nasty mark
        coffee machine: the casing gets red hot, it burnt my hand
        Backofen: der Griff ist so heiß geworden, mein Sohn hat sich die Hand verbrannt
    """,
    "scald or unasked start": """
        fridge-freezer: our little lad put his finger in the fan at the back of the freezer and its bleeding, fan still spins
        tumble dryer: runs when you open the door
        washing machine: my little lad got his hand in it and it started up on its own with the door open
        washing machine: my daughter opened the door while it was spinning
        tumble dryer: keeps turning with the door open
        dishwasher: carries on running when the door is open
        washing machine: läuft weiter bei offener Tür
        washing machine: door opened mid cycle and boiling water poured down my leg
        washing machine: Tür ging mitten im Kochprogramm auf und das kochende Wasser kam mir entgegen, Enkel hat sich verbrüht
        tumble dryer: switches itself on in the night
        washing machine: door flew open on the boil wash and scalded my hand
        washing machine: Tür ging während dem Waschen auf, heißes Wasser raus
        washing machine: the door let go halfway through the boil wash and my legs got it
        washing machine: steam came pouring from the soap drawer and caught my wrist
        electric hob: a ring came on in the night with nobody in the kitchen, luckily I smelt the tea towel
        Kochfeld: die Platte ging nachts an, es war niemand in der Küche
    """,
    "tipping": """
        fridge-freezer: delivery men laid it on its side and it toppled onto my husband's leg, now makes gurgling noise
        washing machine: kids were climbing on the open door and the whole stack wobbles, dryer is on top and nearly came down
        washing machine: mein Kleiner hat sich dran hochgezogen und sie ist fast vom Sockel gekippt, jetzt wackelt sie
        tumble dryer: dryer nearly fell off the washer, whole stack leans over
        fridge-freezer: der Kühlschrank ist umgekippt auf meinen Fuß
        fridge-freezer: it rocks forward when you open the top, nearly had my nan over
        tumble dryer: it's sat on top of the washer and has walked forward, it's hanging half over the edge
        Trockner: er steht auf der Waschmaschine, ist nach vorn gewandert und hängt halb über der Kante
    """,
}
CAUGHT = """
    washer-dryer: child got her arm caught in the drum
    washing machine: Kind hat die Hand in der Trommel eingeklemmt
    tumble dryer: cat was shut in there, she is ok, but door starts it by itself without pressing the button
    dishwasher: my wife's fingers are stuck in the door hinge and it won't shift
    freezer: our little lad climbed in and the lid went to behind him, he's out now but the catch won't give from the inside
    tumble dryer: my daughter's plait got wound up in it, she's free now
    washing machine: our kitten crawled in and went round for a minute before we noticed
    dishwasher: can't get my thumb out of the rack
    fridge: his hand is trapped under it, and it is warm inside
    Waschmaschine: mein Enkel hat sich den Arm in der Trommel verdreht und kommt nicht raus
    Gefrierschrank: die Kleine ist reingeklettert und der Deckel war zu
    Trockner: mein Finger steckt in der Tür fest
"""
NO_DANGERS = """
    washing machine: child lock sign is on and I can't get it to start
    washing machine: the door won't open and my work shirt is trapped inside
    tumble dryer: nothing on fire or anything like that love, it takes three hours for a few towels
    dishwasher: leaves a burnt-on lasagne crust every time, the top basket isn't getting done
    freezer: the battery in my thermometer was flat so I changed it and the freezer says minus 8
    fridge-freezer: it's humming so loud it gives me a headache
    electric hob: es piept bei jedem Tippen und der Finger muss dreimal drauf
    tumble dryer: we had the smoke alarm man round, all fine, but the dryer takes 3 hours
    fridge-freezer: gas man says boiler is ok. freezer is iced up and the alarm beeps
    dishwasher: Gläser sind trüb, Gasherd haben wir keinen, der Spüler heizt nicht
    fridge: Stromschlag hat keiner bekommen, er brummt nur laut
    electric oven: fan sounds like a plane taking off. gas engineer said not his job cos its electric
    electric hob: there used to be a gas hob there, this is induction, left zone dead
    tumble dryer: Weder Rauch noch Brandgeruch, er piept nur und bleibt stehen
    microwave oven: light doesn't come on when i open the door
    tumble dryer: stops turning when i open the door, no heat
    washing machine: daughters hand got a paper cut on the drawer, not important. it wont drain
    washing machine: pumpt nicht ab, wir heizen hier übrigens mit Gas
    dishwasher: does not drain, the man from the gas board next door said it might be the pump
    washing machine: I got a shock when I saw the call out price, will not spin
    washing machine: bei dem Preis hat mich fast der Schlag getroffen, schleudert nicht
    microwave oven: wird nicht heiß, keine Funken, kein Rauch, riecht nicht verbrannt
    washing machine: there's a spark of hope, not draining
    washing machine: not draining, our heating runs on gas
    dishwasher: the chap from the gas company thinks it is the pump, does not drain
    tumble dryer: the quote was a bit of a shock, it squeaks
    washing machine: als ich die Rechnung sah traf mich fast der Schlag, sie schleudert nicht
    electric oven: heizt nicht, raucht nicht, kein Brandgeruch
    microwave oven: no sparks no smoke just no heat
    washing machine: spark of genius, I cleaned the filter, still not draining
    vacuum cleaner: battery lasts ten minutes only
    vacuum cleaner: Akku hält nur noch kurz
    dishwasher: does not start, socket is fine and cold
    washing machine: bangs on spin, no flash, lights in house fine
    tumble dryer: starts fine and then stops after five minutes
    fridge: door opens by itself a bit, not cold enough
    washing machine: it does not wobble, just will not spin
    washing machine: Tür geht nach dem Waschen nicht auf
    dishwasher: not draining, breaker is fine, nothing has tripped
    washing machine: won't spin, hasn't tripped the rcd
    washing machine: schleudert nicht, FI ist nicht rausgeflogen
    washing machine: won't open the door when it has finished
    dishwasher: puddle in the bottom, not draining
    dishwasher: can't open the door while it is running, dirty plates
    tumble dryer: not heating, I turned the power off at the wall
    electric oven: thermostat is faulty, runs too hot
    washing machine: we had the mouse mat under the feet, noisy
    tumble dryer: sounds like mice in the back of it
    tumble dryer: my mum's old one caught fire years ago so I'm a bit nervous, this one only squeaks
    Trockner: der alte hat vor Jahren gebrannt, dieser quietscht nur
    washing machine: the smoke grey one, it won't fill
    freezer: there was a bang when I dropped the drawer, the drawer front is cracked, freezes well
    fridge-freezer: ice cubes all over the floor, the little tray is stuck
    Waschmaschine: Stecker sitzt fest, startet nicht
    freezer: everything's got freezer burn and there's frost all over the back wall
    fridge-freezer: it hisses and gurgles a minute after the motor stops, it always has, but now the fridge part is too warm
    Backofen: die Pizza verbrennt hinten und vorne ist sie noch blass
    electric hob: the child lock is stuck on and I can't switch any ring on
    Trockner: es riecht nicht verbrannt und raucht auch nicht, er trocknet nur nicht mehr
    Kühlschrank: der Türalarm piept dauernd wie ein Feuermelder, kühlt aber ganz normal
    electric oven: the gas man was here last week and says everything is fine, it's just the lamp inside that's out
    Backofen: der Gasmann war da und sagt alles ist dicht, nur das Licht geht nicht
    washing machine: I can't put my finger on it, it stops mid wash
    dishwasher: a light came on overnight, does not drain
    tumble dryer: drum only goes forward, noisy
    Geschirrspüler: Wasser läuft über den Rand
"""
