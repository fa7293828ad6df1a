"""Faces for the notebooks: each control shows the result of one public function and holds no model of its own.

A control's module is loaded when it is first asked for: a notebook that shows one pays for one.
"""

import sys
from importlib import import_module
from types import ModuleType
from typing import Any

_HOMES = {
    "BeforeArtworkControl": "carving_offers",
    "BendingControl": "bending_picture",
    "BothFacesControl": "both_faces",
    "CarvingChoicesControl": "carving_offers",
    "CarvingControl": "carving",
    "ChipControl": "chip_picture",
    "ClampsControl": "clamps_picture",
    "ClimbControl": "climb_picture",
    "ComparisonControl": "program_changes",
    "CutterTuningControl": "cutter_tuning",
    "FacesControl": "faces",
    "FrameControl": "frame_to_hours",
    "GrainControl": "grain_modes",
    "JobForm": "job_form",
    "LessonControl": "lesson",
    "LoadingControl": "loading_picture",
    "MinutesControl": "minutes_picture",
    "NoiseControl": "noise_picture",
    "ProgramLinesControl": "program_lines",
    "ProgramTimeControl": "program_time",
    "QuoteControl": "quote_job",
    "SavingsControl": "program_changes",
    "SeasonControl": "season_play",
    "ShapesControl": "shapes_picture",
    "StationsControl": "stations_picture",
    "SurfaceControl": "surface_picture",
    "TenonControl": "tenons",
    "TodayControl": "today",
    "TrainingControl": "training_view",
    "WhatIfControl": "what_if",
    "before_artwork": "carving_offers",
    "bending_control": "bending_picture",
    "both_faces_control": "both_faces",
    "carving_hours": "carving",
    "chip_control": "chip_picture",
    "clamps_control": "clamps_picture",
    "climb_control": "climb_picture",
    "cutter_tuning": "cutter_tuning",
    "days_view": "frame_pictures",
    "faces_control": "faces",
    "fits_view": "frame_pictures",
    "frame_to_hours": "frame_to_hours",
    "grain_control": "grain_modes",
    "job_form": "job_form",
    "lesson": "lesson",
    "loading_control": "loading_picture",
    "loading_figure": "loading_picture",
    "minutes_control": "minutes_picture",
    "noise_control": "noise_picture",
    "panel_view": "frame_pictures",
    "program_lines": "program_lines",
    "program_time": "program_time",
    "quantities_view": "frame_pictures",
    "quote_job": "quote_job",
    "season_control": "season_play",
    "shapes_control": "shapes_picture",
    "stations_control": "stations_picture",
    "straight_move_seconds": "program_time",
    "surface_control": "surface_picture",
    "take_this_job": "decision",
    "tenon_control": "tenons",
    "today_page": "today",
    "training_control": "training_view",
    "turns_figure": "decision",
    "what_if": "what_if",
}
__all__ = [
    "BeforeArtworkControl",
    "BendingControl",
    "BothFacesControl",
    "CarvingChoicesControl",
    "CarvingControl",
    "ChipControl",
    "ClampsControl",
    "ClimbControl",
    "ComparisonControl",
    "CutterTuningControl",
    "FacesControl",
    "FrameControl",
    "GrainControl",
    "JobForm",
    "LessonControl",
    "LoadingControl",
    "MinutesControl",
    "NoiseControl",
    "ProgramLinesControl",
    "ProgramTimeControl",
    "QuoteControl",
    "SavingsControl",
    "SeasonControl",
    "ShapesControl",
    "StationsControl",
    "SurfaceControl",
    "TenonControl",
    "TodayControl",
    "TrainingControl",
    "WhatIfControl",
    "before_artwork",
    "bending_control",
    "both_faces_control",
    "carving_hours",
    "chip_control",
    "clamps_control",
    "climb_control",
    "cutter_tuning",
    "days_view",
    "faces_control",
    "fits_view",
    "frame_to_hours",
    "grain_control",
    "job_form",
    "lesson",
    "loading_control",
    "loading_figure",
    "minutes_control",
    "noise_control",
    "panel_view",
    "program_lines",
    "program_time",
    "quantities_view",
    "quote_job",
    "season_control",
    "shapes_control",
    "stations_control",
    "straight_move_seconds",
    "surface_control",
    "take_this_job",
    "tenon_control",
    "today_page",
    "training_control",
    "turns_figure",
    "what_if",
]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
    raise AttributeError(f"shopcalc.controls has no {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)


class _Faces(ModuleType):
    """A control keeps its name where its module, loaded by whomever, is called the same."""

    def __setattr__(self, name: str, value: Any) -> None:
        super().__setattr__(name, getattr(value, name) if _HOMES.get(name) == name else value)


sys.modules[__name__].__class__ = _Faces
