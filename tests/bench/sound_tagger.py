"""The judge of `sound_blind.py`, for a Python of its own: `python sound_tagger.py FILE.wav …` writes to standard output what a music tagger hears, as JSON.

The tagger is `musicnn` (Pons & Serra 2019), whose weights lie in its package: `pip install tensorflow-cpu tf_keras librosa` and
`pip install --no-deps musicnn` in an environment of its own. It was trained on thousands of recordings that people had given tags.
"""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path

os.environ |= {"TF_USE_LEGACY_KERAS": "1", "TF_CPP_MIN_LOG_LEVEL": "3"}
import librosa  # noqa: E402
import numpy as np  # noqa: E402
import tensorflow as tf  # noqa: E402
from musicnn import configuration, models  # noqa: E402

MODEL = "MTT_musicnn"
FRAMES, STEP = 187, 60  # of one look of three seconds, and from look to look


def main() -> None:
    tf.compat.v1.disable_eager_execution()
    looks = tf.compat.v1.placeholder(tf.float32, [None, FRAMES, configuration.N_MELS])
    training = tf.compat.v1.placeholder(tf.bool)
    with tf.name_scope("model"):
        likely = tf.nn.sigmoid(models.define_model(looks, training, MODEL, len(configuration.MTT_LABELS))[0])
    session = tf.compat.v1.Session()
    tf.compat.v1.train.Saver().restore(session, f"{Path(models.__file__).parent}/{MODEL}/")
    found = {}
    for path in map(Path, sys.argv[1:]):
        wave, rate = librosa.load(path, sr=configuration.SR)
        mel = librosa.feature.melspectrogram(
            y=wave, sr=rate, hop_length=configuration.FFT_HOP, n_fft=configuration.FFT_SIZE, n_mels=configuration.N_MELS
        ).T
        mel = np.log10(10000 * mel + 1)
        parts = np.stack([mel[at : at + FRAMES] for at in range(0, len(mel) - FRAMES + 1, STEP)])
        heard = session.run(likely, feed_dict={looks: parts, training: False}).mean(axis=0)
        found[path.stem] = dict(zip(configuration.MTT_LABELS, heard.tolist(), strict=True))
    print(json.dumps(found))


if __name__ == "__main__":
    main()
