"""What is wrong with a shell's surface, in few words, for pictures."""

from petitpied.domain.shell import Shell

#: browning that an eye sees beside the reference: three times the just noticeable 1 (Delta E00;
#: common practice, no source), and surely so: beyond its own 95 %
SEEN_BROWNING = 3.0
#: lumps of this root mean square height are felt and seen (common practice, no source)
LUMPY_MM = 0.05


def fault_words(shell: Shell) -> tuple[str, ...]:
    """Cracks, marks and colour, the gravest first; empty for a clean shell."""
    if not shell.cracks:
        return mark_words(shell)
    length = f" {shell.crack_length_mm.value:.0f} mm" if shell.crack_length_mm else ""
    kind = "crack" if len(shell.cracks) == 1 else f"{len(shell.cracks)} cracks"
    return (f"{kind}{length}", *mark_words(shell))


def crack_words(count: int, length_mm: float) -> str:
    """As written beside a shell."""
    return f"{'crack' if count == 1 else f'{count} cracks'} {length_mm:.0f} mm"


def mark_words(shell: Shell) -> tuple[str, ...]:
    """The same without cracks."""
    words = []
    if shell.dimples:
        count = len(shell.dimples)
        width = max(mark.diameter_mm.value for mark in shell.dimples)
        words.append(f"{'dimple' if count == 1 else f'{count} dimples'} {width:.0f} mm")
    if shell.peak is not None:
        words.append("peak")
    lumps = shell.lumpiness_mm
    if lumps is not None and lumps.value > LUMPY_MM + 2 * lumps.u_own:
        words.append("lumpy")
    if shell.pinholes:
        words.append("dark spots" if len(shell.pinholes) > 1 else "dark spot")
    brown = shell.browning
    if brown is not None and abs(brown.value) > SEEN_BROWNING + 1.96 * brown.u_own:
        words.append(f"{'browner' if brown.value > 0 else 'paler'} by {abs(brown.value):.0f} ΔE")
    return tuple(words)
