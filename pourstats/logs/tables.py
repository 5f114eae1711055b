"""Every log table, declared once.

Readers, the database, blank templates, entry forms, the paper sheet and the reference page are all
made from :data:`TABLES`. A column's range, choices and meaning stand here and nowhere else.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from pourstats.logs.choice_words import SKY

Kind = Literal["id", "text", "notes", "number", "whole", "date", "time", "choice", "choices"]
"""What a cell holds. ``id`` and ``text`` are trimmed, ``notes`` kept to the letter, ``choice`` is
one word of a list, ``choices`` several joined by ``;``."""

Anchor = Literal["own", "pour", "job", "none"]
"""What a bare clock time rests on: the row's own date, its pour's, its job's, or nothing."""


@dataclass(frozen=True)
class Column:
    """One column of a log table.

    ``low`` and ``high`` are in the house unit, both allowed unless ``above_low``; ``odd_low`` and
    ``odd_high`` bound what is usual: outside them a value is stored and warned of.
    """

    name: str
    kind: Kind
    meaning: str
    english: str
    spanish: str
    unit: str | None = None
    low: float | None = None
    high: float | None = None
    above_low: bool = False
    odd_low: float | None = None
    odd_high: float | None = None
    odd_hint: str | None = None
    choices: tuple[str, ...] = ()
    words: Mapping[str, float] = field(default_factory=dict, hash=False)
    """Words that may stand for a number, in the house unit."""
    required: bool = False
    private: bool = False
    short: bool = False
    end_of: str | None = None
    """The time column of the same row whose end this is; a bare time before it is the next day."""
    early_h: float = 6.0
    """How far before place_start a bare time still counts as the same day."""
    after_start: bool = False
    """A bare time before place_start is the next day, however little before."""


@dataclass(frozen=True)
class Table:
    """One log table: its columns, its key, and how its rows hang on a pour."""

    name: str
    columns: tuple[Column, ...]
    key: tuple[str, ...]
    meaning: str
    english: str
    spanish: str
    anchor: Anchor = "none"
    needs_pour: bool = False
    order: tuple[tuple[str, str], ...] = ()
    """Pairs (earlier, later) of time columns; a row that breaks one is set aside."""
    span: tuple[tuple[str, str, float, str], ...] = ()
    """(from, to, hours, words): the longest stretch that is accepted, however written."""
    slip_h: float | None = None
    """A stretch longer than this only because an end was read as the next day is a slip."""
    needs_one_of: tuple[str, ...] = ()
    """At least one of these must be filled."""
    log: bool = True
    """False for what the program keeps itself (settings, stamps, forecasts)."""

    def column(self, name: str) -> Column:
        """The column of that name; KeyError if there is none."""
        for column in self.columns:
            if column.name == name:
                return column
        raise KeyError(name)

    @property
    def names(self) -> tuple[str, ...]:
        """The column names in order."""
        return tuple(column.name for column in self.columns)

    @property
    def required(self) -> tuple[str, ...]:
        """The columns that a row can't do without."""
        return tuple(column.name for column in self.columns if column.required)


SLAB_TYPES = (
    "basement", "garage", "shop", "warehouse", "driveway", "patio", "walk", "porch", "other",
)  # fmt: skip
OUTDOOR_TYPES = ("driveway", "patio", "walk", "porch")
ADMIXTURES = (
    "water_reducer", "mid_range_reducer", "high_range_reducer", "retarder", "accelerator",
    "air_entrainer",
)  # fmt: skip
REINFORCEMENTS = ("none", "fiber", "mesh", "rebar")
BASES = ("soil", "stone", "vapor_sheet", "foam_board")
PLACEMENTS = ("chute", "wheelbarrow", "buggy", "pump", "conveyor")
EXPOSURES = ("sun", "shade", "mixed", "indoors")
WINDS_FELT = ("calm", "breezy", "windy")
FINISHES = ("broom", "float", "trowel", "hard_trowel")
SAW_TYPES = ("early_entry", "conventional", "handheld", "tooled", "none")
CURES = ("none", "compound", "wet", "sheet", "blankets")
TROUBLES = (
    "late_truck", "pump", "machine", "short_hand", "short_load", "wet_load", "rain", "grade",
    "others_on_site",
)  # fmt: skip
TOOLS = ("pan", "float_blades", "combination_blades", "finish_blades", "hand", "broom")
TASKS = ("set_up", "place", "finish", "saw", "wait", "travel", "clean_up", "return_visit")
WAITS = ("concrete", "set", "others", "weather", "break")
DEFECTS = (
    "plastic_crack", "random_crack", "crazing", "dusting", "scaling", "delamination", "blister",
    "curling", "low_spot", "high_spot", "discoloration", "joint_spall", "joint_ravel",
    "cold_joint", "popout", "trowel_burn", "rain_damage", "other",
)  # fmt: skip
SKILLS = ("place", "finish", "saw")
SCOPES = ("form", "grade", "steel", "place", "finish", "saw", "cure", "strip")

_POUR_ID = Column(
    "pour_id", "id", "the crew's own label of the pour", "Pour", "Colado", required=True, short=True
)
_SITE = Column(
    "site",
    "id",
    "job site; the weather is matched by it",
    "Site",
    "Obra",
    required=True,
    short=True,
)
_DATE = Column("date", "date", "day of the placement", "Date", "Fecha", required=True, short=True)
_SLAB_TYPE = Column(
    "slab_type", "choice", "what the slab is for", "Slab type", "Tipo de losa",
    choices=SLAB_TYPES, required=True, short=True,
)  # fmt: skip
_AREA = Column(
    "area", "number", "plan area", "Area", "Área",
    unit="ft2", low=1, high=10_000_000, odd_high=200_000, required=True, short=True,
)  # fmt: skip
_THICKNESS = Column(
    "thickness", "number", "mean thickness", "Thickness", "Espesor",
    unit="in", low=0.5, high=60, odd_low=2, odd_high=24, required=True, short=True,
)  # fmt: skip
_ORDERED = Column(
    "ordered_volume", "number", "what was ordered", "Ordered", "Pedido",
    unit="yd3", low=0, above_low=True, odd_high=2000,
)  # fmt: skip
_HANDS = Column(
    "hands", "number", "people placing", "Hands", "Gente", low=0, odd_low=1, odd_high=30, short=True
)
_FINISH_HANDS = Column(
    "finish_hands", "number", "people who stayed to finish", "Hands to finish",
    "Gente para el acabado", low=0, odd_high=30,
)  # fmt: skip
_MIX = Column("mix", "text", "the plant's mix label", "Mix", "Mezcla")
_STRENGTH = Column(
    "strength", "number", "specified 28-day strength", "Strength", "Resistencia",
    unit="psi", low=0, odd_low=1000, odd_high=12000,
)  # fmt: skip
_SLUMP = Column(
    "slump", "number", "slump at discharge", "Slump", "Revenimiento", unit="in", low=0, odd_high=12
)
_ADMIXTURES = Column(
    "admixtures", "choices", "what the mix carries beside cement and water", "Admixtures",
    "Aditivos", choices=ADMIXTURES,
)  # fmt: skip
_SCM = Column(
    "scm", "number", "fly ash or slag share of the cementitious content", "Fly ash or slag",
    "Ceniza o escoria", unit="percent", low=0, high=100, odd_high=80,
)  # fmt: skip
_REINFORCEMENT = Column(
    "reinforcement", "choices", "what is in the slab against cracking", "Reinforcement", "Refuerzo",
    choices=REINFORCEMENTS,
)  # fmt: skip
_BASE = Column("base", "choices", "what the concrete lies on", "Base", "Base", choices=BASES)
_PLACEMENT = Column(
    "placement", "choice", "how the concrete gets to the slab", "Placement", "Cómo se coloca",
    choices=PLACEMENTS,
)  # fmt: skip
_EXPOSURE = Column(
    "exposure", "choice", "what the sky does to the slab", "Exposure", "Sol o sombra",
    choices=EXPOSURES,
)  # fmt: skip
_FINISH = Column("finish", "choice", "the finish asked for", "Finish", "Acabado", choices=FINISHES)
_CONCRETE_TEMP = Column(
    "concrete_temp", "number", "concrete temperature at discharge (ASTM C1064)", "Concrete temp",
    "Temp. del concreto", unit="degF", low=0, high=140, odd_low=40, odd_high=100,
)  # fmt: skip
_SAW_LENGTH = Column(
    "saw_length", "number", "length of joints cut", "Joints cut", "Cortes", unit="ft", low=0
)
_SAW_TYPE = Column(
    "saw_type", "choice", "how the joints are made", "Saw", "Cortadora", choices=SAW_TYPES
)
_JOINT_SPACING = Column(
    "joint_spacing", "number", "distance between joints", "Joint spacing", "Separación de juntas",
    unit="ft", low=0, odd_high=40,
)  # fmt: skip
_JOINT_DEPTH = Column(
    "joint_depth", "number", "depth of the cut", "Joint depth", "Profundidad del corte",
    unit="in", low=0, odd_high=12,
)  # fmt: skip
_LEAD = Column("lead", "text", "who ran the pour", "Lead", "Encargado")
_NOTES = Column("notes", "notes", "anything else", "Notes", "Notas")

POURS = Table(
    "pours",
    (
        _POUR_ID, _DATE, _SITE, _SLAB_TYPE, _AREA, _THICKNESS, _ORDERED, _HANDS, _FINISH_HANDS,
        Column("crew_in", "time", "first of the crew on site", "Crew in", "Llega la gente",
               early_h=12),
        Column("crew_out", "time",
               "last of the crew off after finishing; a later trip to saw is not in it", "Gone",
               "Se fue la gente", end_of="crew_in", short=True),
        _MIX, _STRENGTH, _SLUMP, _ADMIXTURES, _SCM, _REINFORCEMENT, _BASE, _PLACEMENT, _EXPOSURE,
        Column("wind_felt", "choice", "the wind on the slab, as felt", "Wind", "Viento",
               choices=WINDS_FELT),
        _FINISH, _CONCRETE_TEMP,
        Column("place_start", "time", "first concrete out", "First concrete", "Primer concreto",
               short=True),
        Column("place_end", "time", "last concrete struck off", "Strike-off done",
               "Regleado terminado", end_of="place_start", short=True),
        Column("bull_float_end", "time", "bull float done", "Bull float done", "Flotado terminado",
               short=True),
        Column("machine_on", "time", "first machine pass on", "Machine on", "Entra la máquina",
               after_start=True, short=True),
        Column("passes_done", "time", "last pass off", "Last pass off", "Última pasada",
               after_start=True, short=True),
        Column("pass_count", "number", "how many passes it took", "Passes", "Pasadas",
               low=0, odd_high=15),
        Column("saw_start", "time", "first cut", "Saw on", "Empieza el corte", after_start=True),
        Column("saw_end", "time", "last cut", "Saw done", "Corte terminado", end_of="saw_start",
               after_start=True, short=True),
        _SAW_LENGTH, _SAW_TYPE, _JOINT_SPACING, _JOINT_DEPTH,
        Column("cure", "choice", "how it was cured", "Cure", "Curado", choices=CURES),
        Column("cure_start", "time", "curing begun", "Cure on", "Empieza el curado"),
        Column("trouble", "choices", "what went wrong that day", "Trouble", "Problemas",
               choices=TROUBLES),
        _LEAD, _NOTES,
    ),
    key=("pour_id",),
    meaning="one row a slab placement",
    english="Pours",
    spanish="Colados",
    anchor="own",
    order=(("place_start", "place_end"), ("saw_start", "saw_end")),
    span=(("place_start", "place_end", 72, "more than 72 h after place_start"),),
)  # fmt: skip

TRUCKS = Table(
    "trucks",
    (
        _POUR_ID,
        Column("ticket", "id", "the number on the delivery ticket", "Ticket", "Boleta",
               required=True),
        Column("volume", "number", "volume on the ticket", "Load", "Carga", unit="yd3",
               low=0, high=100, above_low=True, odd_high=14, required=True),
        Column("returned", "number", "sent back or dumped", "Sent back", "Devuelto", unit="yd3",
               low=0, high=100),
        Column("plant", "text", "ready-mix plant", "Plant", "Planta"),
        Column("called", "choice",
               "ordered ahead, or the balance: the last load, sized and called late on purpose",
               "Called", "Pedido como", choices=("ordered", "balance")),
        Column("due", "time", "when the load was ordered for", "Due", "Hora pedida"),
        Column("batched", "time", "water added to the cement", "Batched", "Hora de carga"),
        Column("arrived", "time", "truck at the site", "Truck in", "Llega el camión"),
        Column("pour_start", "time", "unloading begins", "Unloading", "Empieza a descargar"),
        Column("pour_end", "time", "unloading ends", "Empty", "Vacío", end_of="pour_start"),
        Column("left", "time", "truck off the site", "Truck off", "Se va el camión",
               end_of="arrived"),
        _SLUMP, _CONCRETE_TEMP,
        Column("water_added", "number", "water added at the site", "Water added", "Agua agregada",
               unit="gal", low=0, odd_high=100),
        Column("wait_charge", "number", "billed for the wait", "Wait charge", "Cargo por espera",
               unit="USD", low=0),
    ),
    key=("pour_id", "ticket"),
    meaning="one row a load",
    english="Loads",
    spanish="Camiones",
    anchor="pour",
    needs_pour=True,
    order=(("pour_start", "pour_end"), ("arrived", "left")),
    slip_h=6,
)  # fmt: skip

PASSES = Table(
    "passes",
    (
        _POUR_ID,
        Column("pass_no", "whole", "1, 2, 3 … in time order", "Pass", "Pasada", low=1, odd_high=20,
               required=True),
        Column("tool", "choice", "what was on the machine or in the hand", "Tool", "Herramienta",
               choices=TOOLS),
        Column("machine", "choice", "which machine", "Machine", "Máquina",
               choices=("walk_behind", "ride_on")),
        Column("part", "choice", "which part of the slab", "Part", "Parte",
               choices=("whole", "first_end", "last_end", "edges")),
        Column("ready", "time", "when it would have taken the machine, if the crew got on late",
               "It was ready", "Ya estaba lista"),
        Column("held_up", "choice", "what kept the crew off it", "Held up by", "Qué lo detuvo",
               choices=("no", "other_slab", "people", "machine", "rain")),
        Column("start", "time", "pass begun", "Got on it", "Empieza", after_start=True,
               required=True),
        Column("end", "time", "pass done", "Off it", "Termina", end_of="start"),
        Column("footprint", "number", "depth of a boot print when the pass began", "Boot print",
               "Huella de bota", unit="in", low=0, odd_high=1),
        Column("worker", "text", "who ran it", "Who", "Quién"),
    ),
    key=("pour_id", "pass_no"),
    meaning="one row a machine or hand pass over the slab",
    english="Passes",
    spanish="Pasadas",
    anchor="pour",
    needs_pour=True,
    order=(("start", "end"),),
    slip_h=6,
)  # fmt: skip

CREW_TIME = Table(
    "crew_time",
    (
        _POUR_ID,
        Column("worker", "id", "a label or initials", "Who", "Quién", required=True),
        Column("task", "choice",
               "what for; sawing on a trip back is saw, its drive travel, a repair return_visit",
               "Task", "Tarea", choices=TASKS, required=True),
        Column("wait_for", "choice",
               "what the wait was for; a paid break counts, an unpaid one is a gap", "Waiting on",
               "Esperando", choices=WAITS),
        Column("start", "time", "from", "From", "Desde", required=True),
        Column("end", "time", "to", "To", "Hasta", end_of="start", required=True),
    ),
    key=("pour_id", "worker", "task", "start"),
    meaning="one row a person's stretch of time on one task",
    english="Crew time",
    spanish="Horas de la gente",
    anchor="pour",
    needs_pour=True,
    order=(("start", "end"),),
    span=(("start", "end", 24, "more than 24 h after start"),),
    slip_h=16,
)  # fmt: skip

EARLY_TASKS = ("set_up", "travel", "wait")
"""Tasks whose bare times may lie 12 h before place_start and still be the same day."""

WEATHER = Table(
    "weather",
    (
        _SITE,
        Column("time", "time", "time of the reading", "Time", "Hora", required=True),
        Column("air_temp", "number", "air temperature", "Air", "Aire", unit="degF", low=-80,
               high=140, odd_low=-30, odd_high=125, required=True),
        Column("humidity", "number", "relative humidity", "Humidity", "Humedad", unit="percent",
               low=0, high=100, odd_low=2, odd_hint="fraction", required=True),
        Column("wind", "number", "mean wind speed", "Wind", "Viento", unit="mph", low=0, high=200,
               odd_high=80, required=True),
        Column("wind_height", "number", "height of the wind reading; blank means 10 m",
               "Wind read at", "Altura del viento", unit="m", low=0, odd_high=100),
        Column("sun", "number", "global horizontal irradiance", "Sun", "Sol", unit="W/m2", low=0,
               odd_high=1500),
        Column("cloud", "number", "sky covered, in percent or in words as clear, partly cloudy,"
               " overcast; used by the models where sun is blank", "Cloud", "Nubes",
               unit="percent", low=0, high=100, odd_hint="fraction", words=SKY),
        Column("rain", "number", "rain in the hour", "Rain", "Lluvia", unit="in", low=0,
               odd_high=6),
        Column("source", "choice", "where the reading comes from", "Source", "Fuente",
               choices=("measured", "estimated", "forecast")),
    ),
    key=("site", "time"),
    meaning="one row a site and hour",
    english="Weather",
    spanish="Clima",
)  # fmt: skip

SITES = Table(
    "sites",
    (
        _SITE,
        Column("latitude", "number", "degrees north; blank means the house setting's", "Latitude",
               "Latitud", unit="deg", low=-90, high=90),
        Column("longitude", "number", "degrees east (west is negative)", "Longitude", "Longitud",
               unit="deg", low=-180, high=180),
        Column("zone", "text", "IANA time zone, for calendars and daylight", "Time zone",
               "Zona horaria"),
    ),
    key=("site",),
    meaning="one row a site",
    english="Sites",
    spanish="Obras",
)  # fmt: skip

CALLBACKS = Table(
    "callbacks",
    (
        Column("callback_id", "id", "the crew's own label of the call", "Callback", "Reclamo",
               required=True),
        _POUR_ID,
        Column("reported", "date", "day of the call", "Reported", "Fecha del reclamo",
               required=True),
        Column("defect", "choice", "what is wrong with the floor", "Defect", "Defecto",
               choices=DEFECTS, required=True),
        Column("fault", "choice", "whose it was", "Fault", "De quién fue",
               choices=("ours", "mix", "base", "use", "normal")),
        Column("hours", "number", "labor hours spent on it", "Hours", "Horas", unit="h", low=0,
               odd_high=500),
        Column("cost", "number", "cost beside labor", "Cost", "Costo", unit="USD", low=0,
               odd_high=50_000, private=True),
        _NOTES,
    ),
    key=("callback_id",),
    meaning="one row a call to come back",
    english="Callbacks",
    spanish="Reclamos",
    anchor="none",
    needs_pour=True,
)  # fmt: skip

BIDS = Table(
    "bids",
    (
        _POUR_ID,
        Column("bid_date", "date", "day of the bid", "Bid date", "Fecha de la oferta",
               required=True),
        Column("bid_hours", "number", "labor hours bid", "Hours bid", "Horas ofrecidas", unit="h",
               low=0),
        Column("labor_rate", "number", "what a labor hour was priced at", "Labor rate",
               "Precio por hora", unit="USD/h", low=0, odd_high=400, private=True),
        Column("bid_price", "number", "price bid", "Price bid", "Precio ofrecido", unit="USD",
               low=0, private=True),
        Column("scope", "choices", "what was in it; blank means place, finish, saw", "Scope",
               "Alcance", choices=SCOPES),
        Column("won", "choice", "whether the job was won", "Won", "Ganada", choices=("yes", "no")),
        Column("billed", "number", "what was billed in the end", "Billed", "Facturado", unit="USD",
               low=0, private=True),
    ),
    key=("pour_id", "bid_date"),
    meaning="one row a bid",
    english="Bids",
    spanish="Ofertas",
    needs_one_of=("bid_hours", "bid_price"),
)  # fmt: skip

CREW = Table(
    "crew",
    (
        Column("worker", "id", "a label or initials", "Who", "Quién", required=True),
        Column("since", "date", "date from which the row holds; blank means always", "Since",
               "Desde"),
        Column("skills", "choices", "what this person can be given", "Skills", "Sabe hacer",
               choices=SKILLS),
        Column("pay", "number", "wage, before burden", "Pay", "Sueldo", unit="USD/h", low=0,
               odd_high=200, private=True),
    ),
    key=("worker", "since"),
    meaning="one row a person, from a date on",
    english="Crew",
    spanish="Gente",
)  # fmt: skip

JOBS = Table(
    "jobs",
    (
        _POUR_ID, _DATE, _SITE, _SLAB_TYPE, _AREA, _THICKNESS, _ORDERED, _HANDS, _FINISH_HANDS,
        _MIX, _STRENGTH, _SLUMP, _ADMIXTURES, _SCM, _REINFORCEMENT, _BASE, _PLACEMENT, _EXPOSURE,
        _FINISH, _CONCRETE_TEMP, _SAW_TYPE, _SAW_LENGTH, _LEAD,
        Column("earliest_start", "time", "the site may be worked from", "Not before",
               "No antes de"),
        Column("latest_end", "time", "the site must be left by", "Not after", "No después de"),
        Column("place_start", "time", "a start already agreed, if any", "Agreed start",
               "Hora acordada"),
        Column("travel", "number", "into this site, from the shop or any other stop that day",
               "Travel", "Camino", unit="min", low=0, odd_high=300),
        Column("plant_travel", "number", "ready-mix plant to the site, one way", "Plant to site",
               "De la planta a la obra", unit="min", low=0, odd_high=180),
    ),
    key=("pour_id",),
    meaning="one row a job ahead",
    english="Jobs ahead",
    spanish="Trabajos por hacer",
    anchor="job",
)  # fmt: skip

SETTINGS = Table(
    "settings",
    (
        Column("name", "id", "the house rule's name", "House rule", "Regla", required=True),
        Column("value", "text", "its value, as `pourstats settings` takes it", "Value", "Valor"),
    ),
    key=("name",),
    meaning="one row a house rule that was set",
    english="House rules",
    spanish="Reglas de la casa",
    log=False,
)

EVENTS = (
    "hands", "first_concrete", "strike_off_done", "bull_float_done", "machine_on", "last_pass_off",
    "saw_on", "saw_done", "gone", "load_in", "load_unloading", "load_empty", "load_off", "pass_on",
    "pass_off", "was_ready", "arrives", "leaves", "to_finish", "describe",
)  # fmt: skip

STAMPS = Table(
    "stamps",
    (
        Column("stamp_id", "id", "made by the device that took the tap", "Stamp", "Toque",
               required=True),
        _POUR_ID,
        Column("event", "choice", "what was tapped", "Event", "Evento", choices=EVENTS,
               required=True),
        Column("subject", "text",
               "whom or what it is about: a worker, a ticket, a pass, a count, or column=value",
               "Subject", "Sujeto"),
        Column("at", "time", "when", "At", "Hora", required=True),
        Column("undone", "choice", "whether the tap was taken back", "Undone", "Deshecho",
               choices=("yes", "no")),
    ),
    key=("stamp_id",),
    meaning="one row a tap during a pour",
    english="Taps",
    spanish="Toques",
    log=False,
)  # fmt: skip

FORECASTS = Table(
    "forecasts",
    (
        Column("issued_at", "time", "when it was told", "Told at", "Dicho", required=True),
        Column("command", "text", "which command told it", "Command", "Comando", required=True),
        _POUR_ID,
        Column("target", "text", "what was forecast", "What", "Qué", required=True),
        Column("quantile", "number", "share of outcomes below the value; blank for a mean",
               "Odds", "Probabilidad", low=0, high=1),
        Column("value", "number", "the value, in the target's own unit", "Value", "Valor"),
    ),
    key=("issued_at", "command", "pour_id", "target", "quantile"),
    meaning="one row a quantile of something that was forecast",
    english="Forecasts",
    spanish="Pronósticos",
    log=False,
)  # fmt: skip

TABLES: dict[str, Table] = {
    table.name: table
    for table in (
        POURS, TRUCKS, PASSES, CREW_TIME, WEATHER, SITES, CALLBACKS, BIDS, CREW, JOBS, SETTINGS,
        STAMPS, FORECASTS,
    )
}  # fmt: skip

DEPENDENTS = tuple(table.name for table in TABLES.values() if table.needs_pour)
"""Tables whose rows can't stand without their pour, and go with it."""

SQL_TYPES: dict[str, str] = {
    "id": "VARCHAR", "text": "VARCHAR", "notes": "VARCHAR", "choice": "VARCHAR",
    "choices": "VARCHAR", "number": "DOUBLE", "whole": "BIGINT", "date": "DATE",
    "time": "TIMESTAMP",
}  # fmt: skip
"""The database type of each kind of cell."""
