"""Text → compilation → bytes: the stages in order. Start reading here.

    text ──syntax──▶ Book ──resolve──▶ Timeline ──checks──▶ findings
                                        ├──layout──▶ Grid ──▶ tab
                                        └──perform──▶ Performance ──▶ MIDI, timing sheet
"""
