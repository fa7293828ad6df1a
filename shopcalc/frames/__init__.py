"""Frame-and-panel work: from a short table to members, joints, parts, operations, programs and a drawing."""

from shopcalc.frames.expansion import Expansion, as_job_text, expand, layout
from shopcalc.frames.members import Arch, Joint, Layout, Member, Opening, Sizes
from shopcalc.frames.records import Frame, Rail

__all__ = [
    "Arch",
    "Expansion",
    "Frame",
    "Joint",
    "Layout",
    "Member",
    "Opening",
    "Rail",
    "Sizes",
    "as_job_text",
    "expand",
    "layout",
]
