"""fitdecode as a framer: headers, definitions, whole messages, checksums; its decoding of values is left out.

Decoding values again would cost four times as much, and a value that fitdecode cannot expand (beat events without an
anchor, developer fields without their developer) would cost the whole file. The three overridden methods are
fitdecode's own inner ones: the version is pinned, and tests hold every value against the unchanged decoder.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, BinaryIO

import fitdecode

from vambrace.plugin import DamagedFile

DATA, DEFINITION, HEADER = fitdecode.FIT_FRAME_DATA, fitdecode.FIT_FRAME_DEFINITION, fitdecode.FIT_FRAME_HEADER
AGAIN = "Copy or export the file again; --salvage keeps what stands before the damage"


def frames(stream: BinaryIO) -> Iterator[Any]:
    """Yield fitdecode's frames with their bytes; what it raises becomes DamagedFile, what the stream raises passes."""
    tap = _Tap(stream)
    reader = _Framer(
        tap,
        processor=None,
        check_crc=fitdecode.CrcCheck.READONLY,
        error_handling=fitdecode.ErrorHandling.IGNORE,
        keep_raw_chunks=True,
    )
    with reader:
        found = iter(reader)
        at = 0
        while True:
            try:
                frame = next(found)
            except StopIteration:
                break
            except MemoryError:
                raise
            except Exception as error:
                if error is tap.error:
                    raise
                raise _damage(error, at, tap) from error
            at = frame.chunk.offset + len(frame.chunk.bytes)
            yield frame
    if not tap.offset:
        raise DamagedFile("the file is empty", where="byte 0", todo="Copy or export the file again")


class _Framer(fitdecode.FitReader):  # type: ignore[misc]
    """Yields data messages as their bytes alone."""

    def _read_data_message(self, header_chunk: bytes, record_header: Any) -> Any:
        definition = self._local_mesg_defs.get(record_header.local_mesg_num)
        if definition is None:
            raise fitdecode.FitParseError(
                self._chunk_offset, f"local message {record_header.local_mesg_num} not defined"
            )
        size = sum(each.size for each in definition.all_field_defs)
        chunks = [header_chunk, self._read_bytes(size)] if size else [header_chunk]
        return fitdecode.FitDataMessage(
            record_header.is_developer_data,
            record_header.local_mesg_num,
            record_header.time_offset,
            definition,
            [],
            self._keep_chunk(chunks),
        )

    def _add_dev_data_id(self, message: Any) -> None:
        """Leave developers to our own reading of the messages."""

    def _add_dev_field_description(self, message: Any) -> None:
        """Leave developer fields to our own reading of the messages."""


class _Tap:
    """Passes bytes on; remembers how many, whether they ended early, and what the stream itself raised."""

    def __init__(self, stream: BinaryIO) -> None:
        self.stream = stream
        self.offset = 0
        self.ended = False
        self.error: BaseException | None = None

    def read(self, size: int) -> bytes:
        """Return at most `size` bytes."""
        try:
            data = self.stream.read(size)
        except Exception as error:
            self.error = error
            raise
        self.offset += len(data)
        self.ended = not data
        return data


def _damage(error: Exception, at: int, tap: _Tap) -> DamagedFile:
    where = f"byte {at:,}"
    if tap.ended and tap.offset > at:
        return DamagedFile(
            f"the file breaks off at byte {tap.offset:,}, inside what begins here", where=where, todo=AGAIN
        )
    if tap.ended:
        return DamagedFile("the file breaks off here, before the end that its header promises", where=where, todo=AGAIN)
    if isinstance(error, fitdecode.FitHeaderError):
        if at == 0:
            return DamagedFile("it does not begin like a FIT file", where=where, todo="Check what kind of file it is")
        return DamagedFile("what follows the end of the FIT data is no further FIT file", where=where, todo=AGAIN)
    if isinstance(error, AssertionError):
        return DamagedFile("the message that begins here runs beyond the end of the data", where=where, todo=AGAIN)
    why = str(error) or type(error).__name__
    return DamagedFile(f"what begins here contradicts the format ({why})", where=where, todo=AGAIN)


def check_header(header: Any) -> None:
    """Raise DamagedFile where a header contradicts its checksum; a checksum of 0 stands for none, and is legal."""
    if header.crc_matched is False:
        where = f"byte {header.chunk.offset:,}"
        raise DamagedFile("the header's checksum does not match the header", where=where, todo=AGAIN)


def check_crc(crc: Any, size: int) -> None:
    """Raise DamagedFile where the checksum at the end of `size` bytes of data does not hold."""
    if crc.matched:
        return
    where = f"byte {crc.chunk.offset:,}"
    if not size:
        what = "the header says that no data follow: the recording was never closed"
        raise DamagedFile(what, where=where, todo="Export it again from the device")
    what = "the checksum does not match what stands before it: some byte of it is wrong, nothing tells which"
    raise DamagedFile(what, where=where, todo=AGAIN)
