"""NPZ and HDF5 captures: read in their own type, refused with a sentence."""

import h5py
import numpy as np
import pytest

from coilwright.errors import BadInput
from coilwright.readings.binary import read_hdf5, read_npz

VOLT = (100.0 * np.sin(np.arange(5000) / 7.0)).astype(np.int8)
AMP = np.cos(np.arange(5000) / 7.0).astype(np.float32)


@pytest.fixture
def npz(tmp_path):
    def put(**arrays):
        np.savez(tmp_path / "capture.npz", **arrays)
        return tmp_path / "capture.npz"

    return put


def test_npz_keeps_its_sample_type(npz):
    capture = read_npz(npz(step=2e-8, start=-1e-5, U=VOLT, U_scale=0.25, U_offset=-3.0, U_unit="V", I=AMP))
    assert (capture.step, capture.start, len(capture)) == (2e-8, -1e-5, 5000)
    voltage, current = capture.channels
    assert (voltage.name, voltage.unit, voltage.samples.dtype) == ("U", "V", np.int8)
    assert voltage.values() == pytest.approx(VOLT * 0.25 - 3.0)
    assert current.values(10, 20) == pytest.approx(AMP[10:20])
    assert capture.time(10, 12) == pytest.approx([-1e-5 + 2e-7, -1e-5 + 2.2e-7])


def test_time_array_and_choice(npz):
    path = npz(t=1e-3 + 2e-8 * np.arange(5000), U=VOLT, I=AMP)
    capture = read_npz(path, columns=["I"])
    assert capture.step == pytest.approx(2e-8)
    assert capture.start == pytest.approx(1e-3)
    assert [c.name for c in capture.channels] == ["I"]


@pytest.mark.parametrize(
    ("arrays", "options", "sentence"),
    [
        ({"U": VOLT}, {}, "has no time"),
        ({"U": VOLT, "I": AMP[:-3], "step": 1e-8}, {}, "equally long.*cut short"),
        ({"U": VOLT, "step": 0.0}, {}, "step must be greater than zero"),
        ({"U": np.where(np.arange(5000) == 77, np.nan, 1.0), "step": 1e-8}, {}, "no number at sample 78"),
        ({"U": VOLT, "t": np.arange(5000.0)[::-1]}, {}, "runs backwards"),
        ({"U": VOLT, "t": np.arange(4000.0)}, {}, "time has 4000 values but the channels have 5000"),
        ({"U": VOLT, "step": 1e-8}, {"columns": ["I"]}, 'no channel "I"; it has U'),
        ({"U": VOLT.reshape(2, -1), "step": 1e-8}, {}, "one dimension"),
        ({"U": np.array(["a", "b"]), "step": 1e-8}, {}, "must hold numbers"),
        ({"step": 1e-8}, {}, "holds no channel"),
        ({"U": VOLT, "step": 1e-8}, {"time": "clock"}, 'no time array "clock"'),
        ({"U": np.array([object()], dtype=object), "step": 1e-8}, {}, "pickled objects"),
    ],
)
def test_npz_faults(npz, arrays, options, sentence):
    with pytest.raises(BadInput, match=sentence) as caught:
        read_npz(npz(**arrays), **options)
    assert len(caught.value.faults) == 1


def test_cut_npz(npz):
    path = npz(step=1e-8, U=VOLT)
    path.write_bytes(path.read_bytes()[:2000])
    with pytest.raises(BadInput, match="not a whole NPZ file"):
        read_npz(path)
    with pytest.raises(BadInput, match="not a whole NPZ file"):
        read_npz(path.with_name("none.npz"))


def test_hdf5(tmp_path):
    path = tmp_path / "capture.h5"
    with h5py.File(path, "w") as file:
        shot = file.create_group("shot 7")
        shot.attrs["step"] = 2e-8
        shot.create_dataset("U", data=VOLT).attrs["scale"] = 0.25
        shot["U"].attrs["unit"] = "V"
        shot.create_dataset("I", data=AMP)
    capture = read_hdf5(path, group="shot 7")
    assert capture.step == 2e-8
    assert capture.channel("U").values() == pytest.approx(VOLT * 0.25)
    assert capture.channel("U").unit == "V"
    assert read_hdf5(path, columns=["I"], group="shot 7").channels[0].samples.dtype == np.float32
    with pytest.raises(BadInput, match='no group "other"; it has shot 7'):
        read_hdf5(path, group="other")
    path.write_bytes(path.read_bytes()[:1500])
    with pytest.raises(BadInput, match="not a whole HDF5 file"):
        read_hdf5(path)
