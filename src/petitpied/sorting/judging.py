"""All shells of a record judged by the baker's limits."""

from dataclasses import dataclass, replace

from petitpied.domain.record import Record
from petitpied.sorting.limits import Limits
from petitpied.sorting.lot_trays import measured_of
from petitpied.sorting.verdicts import Judgement, judge


@dataclass(frozen=True)
class JudgedRecord:
    """A judgement for each shell, in the record's order; ``left_out``: limited quantities that
    no shell of the photo has, so that none was judged by them."""

    judgements: tuple[Judgement, ...]
    left_out: tuple[str, ...]


def judge_record(record: Record, limits: Limits) -> JudgedRecord:
    """What no shell has is left out; what one shell lacks is checked by eye."""
    found = measured_of(record, limits.names)
    unknown = [n for n in limits.names if not any(n in m.values for m in found)]
    judgements = tuple(
        judge(
            replace(m, missing={n: why for n, why in m.missing.items() if n not in unknown}), limits
        )
        for m in found
    )
    some = any(m.not_measured is None for m in found)
    return JudgedRecord(judgements, tuple(unknown) if some else ())
