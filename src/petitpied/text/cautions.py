"""Cautions in the project's one wording, with the sources of what they state."""

from dataclasses import dataclass

#: for what any kitchen does, and no text says
COMMON_PRACTICE = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Caution:
    """A caution in plain words, and who says so."""

    title: str
    text: str
    source: str = COMMON_PRACTICE


ALLERGENS = Caution(
    "Allergens",
    "Macarons hold almond (a nut) and egg, both major allergens in the United States, the European "
    "Union and the United Kingdom; fillings often add milk and soya, and a mixed box brings "
    "everything near everything. Mind cross-contact, and label: petitpied label makes a draft.",
    "US: FALCPA 2004 and FASTER Act 2021. EU and UK: Regulation (EU) 1169/2011, Annex II.",
)
NO_CERTIFICATE = Caution(
    "What a photo cannot tell",
    "A photo shows size, shape and colour only. It cannot tell whether food is safe, fully baked, "
    "free of allergens, foreign bodies, mould or microbes, or whether a filling was kept cold. "
    "Follow your local food rules, and ask a licensed practitioner.",
    "What the program can measure.",
)
COLD_CHAIN = Caution(
    "Fillings",
    "Food that must be kept cold: at 8 °C or less by law in England, at 5 °C (41 °F) or less by "
    "the US Food Code; elsewhere ask. Bacteria grow fastest between about 4 and 60 °C: in the US "
    "no more than 2 hours out of the cold, 1 hour above 32 °C; in England one spell of up to 4 "
    "hours for serving. Whether your filling is such food, your local food authority says.",
    "England: Food Safety and Hygiene (England) Regulations 2013, Schedule 4 (from memory, not "
    "looked up). US: FDA Food Code 3-501.16; USDA FSIS, Danger Zone.",
)
RAW_EGG = Caution(
    "Raw egg white",
    "Raw egg may carry Salmonella, the white too. Where a product is not fully cooked, use "
    "pasteurised egg white, above all for young children, the elderly, pregnant women and people "
    "with a weak immune system.",
    "USDA FSIS, Egg and egg product safety.",
)
CARD = Caution(
    "Card",
    "The card is not food-contact material: lay it where no shell touches it. Keep one card for "
    "raw batter and another for baked shells, laminated, wiped before and after with what is "
    "allowed for surfaces in your kitchen. No card goes into the oven.",
)
PHOTOGRAPHING = Caution(
    "Photographing",
    "Wash your hands after touching the phone. Hold nothing over the tray that can fall; a tray "
    "into which glass or a phone fell is thrown away. No hot tray on the floor or where a child "
    "reaches it.",
)
HOT = Caution(
    "Heat",
    "Photograph a cooled tray. Never reach into a hot oven for a photo. Work on the oven only when "
    "it is off and cold; heaters and fan are a technician's. Cool a burn under cool running water "
    "for 20 minutes; no ice, no butter; seek help for large, deep, face or hand burns.",
    "NHS first aid for burns.",
)
SYRUP = Caution(
    "Hot syrup",
    "Syrup at 118 °C sticks to the skin and burns deeper than water. Pour it in a thin thread down "
    "the side of the bowl, away from the whisk; keep children out, and a bowl of cold water near.",
)
BEFORE_BAKING = Caution(
    "Photo before baking",
    "The batter is raw egg. Use the card kept for raw trays, beside the batter and not on it, and "
    "take card and piping sheet out before the tray goes into the oven. Wash your hands after.",
)
REPORT_CAUTIONS = (ALLERGENS, NO_CERTIFICATE, COLD_CHAIN, RAW_EGG, CARD, PHOTOGRAPHING, HOT)
BATCH_CAUTIONS = (ALLERGENS, RAW_EGG)
ALL = (*REPORT_CAUTIONS, SYRUP, BEFORE_BAKING)
