"""Cautions in the project's one wording, with the sources of what they state."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Caution:
    """A caution in plain words, and who says so; ``source`` is empty for common sense."""

    title: str
    text: str
    source: str = ""


ALLERGENS = Caution(
    "Allergens",
    "Macarons hold almond (a tree nut) and egg, both major allergens in the United States and in "
    "the European Union; fillings often add milk and soy. Mind cross-contact, and label.",
    "US: FALCPA 2004 and FASTER Act 2021. EU: Regulation 1169/2011, Annex II.",
)
NO_CERTIFICATE = Caution(
    "What a photo cannot tell",
    "A photo shows size, shape and colour only. It cannot tell whether food is safe, fully baked, "
    "free of allergens or of microbes, or whether a filling was kept cold. Follow your local food "
    "rules, and ask a licensed practitioner.",
)
COLD_CHAIN = Caution(
    "Fillings",
    "Food that must be kept cold: 5 °C (41 °F) or less; bacteria grow fastest between about 4 and "
    "60 °C, so no more than 2 hours out of the cold, 1 hour above 32 °C. Whether your filling is "
    "such food, your local food authority says.",
    "US FDA Food Code 3-501.16; USDA FSIS, Danger Zone.",
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
    "The card is not food-contact material: lay it where no shell touches it, and wipe it after.",
)
HOT = Caution(
    "Heat",
    "Photograph a cooled tray. Never reach into a hot oven for a photo. Cool a burn under cool "
    "running water for 20 minutes; no ice, no butter.",
    "NHS first aid for burns.",
)
REPORT_CAUTIONS = (ALLERGENS, NO_CERTIFICATE, COLD_CHAIN, RAW_EGG, CARD, HOT)
BATCH_CAUTIONS = (ALLERGENS, RAW_EGG)
