"""The names of the commands, and what each is for in a few words."""

COMMANDS = {  # by name, in the order of the help; each is a module of its own, loaded when it is called
    "make": "Write text tab, MIDI, timing sheet.",
    "show": "Print the text tab.",
    "play": "Play it through the loudspeakers.",
    "assign": "Give a pupil licks to practice, with their lesson pages.",
    "check": "Find what is wrong, and say what would be right.",
    "box": "Draw a scale's boxes or a chord; find a lick's key and box.",
    "move": "Write a lick in another key, box, octave or tuning.",
    "compare": "Compare your version with the teacher's.",
    "find": "Find licks in a library.",
    "library": "Show what a library has and lacks; find duplicates.",
    "why": "Explain a finding by its code, or list them all.",
}
