"""What is wrong with a shell's surface, in few words, for pictures."""

from petitpied.domain.shell import Shell

#: browning that an eye sees beside the reference: three times the just noticeable 1 (Delta E00;
#: common practice, no source), and surely so: beyond its own 95 %
SEEN_BROWNING = 3.0
#: lumps of this root mean square height are felt and seen (common practice, no source)
LUMPY_MM = 0.05


def fault_words(shell: Shell) -> tuple[str, ...]:
    """Cracks, marks and colour, the gravest first; empty for a clean shell."""
    if not shell.surface.cracks:
        return mark_words(shell)
    length = (
        f" {shell.surface.crack_length_mm.value:.0f} mm" if shell.surface.crack_length_mm else ""
    )
    kind = "crack" if len(shell.surface.cracks) == 1 else f"{len(shell.surface.cracks)} cracks"
    return (f"{kind}{length}", *mark_words(shell))


def crack_words(count: int, length_mm: float) -> str:
    """As written beside a shell."""
    return f"{'crack' if count == 1 else f'{count} cracks'} {length_mm:.0f} mm"


def mark_words(shell: Shell) -> tuple[str, ...]:
    """The same without cracks."""
    words = []
    if shell.surface.dimples:
        count = len(shell.surface.dimples)
        width = max(mark.diameter_mm.value for mark in shell.surface.dimples)
        words.append(f"{'dimple' if count == 1 else f'{count} dimples'} {width:.0f} mm")
    if shell.surface.peak is not None:
        words.append("peak")
    lumps = shell.surface.lumpiness_mm
    if lumps is not None and lumps.value > LUMPY_MM + 2 * lumps.u_own:
        words.append("lumpy")
    if shell.surface.pinholes:
        words.append("dark spots" if len(shell.surface.pinholes) > 1 else "dark spot")
    brown = shell.surface.browning
    if brown is not None and abs(brown.value) > SEEN_BROWNING + 1.96 * brown.u_own:
        words.append(f"{'browner' if brown.value > 0 else 'paler'} by {abs(brown.value):.0f} steps")
    return tuple(words)
