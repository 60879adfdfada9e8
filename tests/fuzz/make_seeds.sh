#!/bin/sh
# make_seeds.sh FOLDER: the sound files that a search begins with, a fiftieth of a second each, of
# every container that is read. What was found since lies beside them and is not made anew.
set -eu
folder=$1/sound
mkdir -p "$folder"

make() {  # NAME OPTION..: NAME ends as its container does
  name=$1
  shift
  ffmpeg -nostdin -v error -y -f lavfi -i "sine=frequency=700:sample_rate=8000:duration=0.02" \
    -fflags +bitexact -flags:a +bitexact -map_metadata -1 "$@" "$folder/$name"
}

make wav-16-bit.wav
make wav-24-bit-stereo.wav -c:a pcm_s24le -ac 2
make wav-float.wav -c:a pcm_f32le
make wav-u-law.wav -c:a pcm_mulaw
make wav-with-a-stamp.wav -write_bext 1 -metadata time_reference=172800000 \
  -metadata origination_date=2026-01-02
make rf64.wav -rf64 always
make w64.w64
make w64-float.w64 -c:a pcm_f32le
make aiff.aiff
make aifc-float.aiff -c:a pcm_f32be
make caf.caf
make caf-alac.caf -c:a alac
make au.au
make flac.flac -metadata_header_padding 16
make flac-24-bit-stereo.flac -metadata_header_padding 16 -ac 2 -sample_fmt s32
make ogg-vorbis.ogg -c:a libvorbis
make ogg-opus.opus -c:a libopus
make ogg-flac.oga -c:a flac
make mp3.mp3 -c:a libmp3lame
make mp3-with-id3.mp3 -c:a libmp3lame -id3v2_version 3 -metadata title=keeper
make aac.aac -c:a aac
make m4a.m4a -c:a aac
make mov.mov -c:a pcm_s16le
make matroska.mka -c:a flac
make webm.webm -c:a libopus
make mpeg-ts.ts -c:a mp2
make m4a-alac.m4a -c:a alac
for codec in ac3 eac3 mp2 wavpack tta; do make "matroska-$codec.mka" -c:a "$codec"; done
make matroska-vorbis.mka -c:a libvorbis
make matroska-mp3.mka -c:a libmp3lame
make matroska-speech.mka -c:a adpcm_ima_wav
make avi.avi
make wma.wma -c:a wmav2
make wavpack.wv -c:a wavpack

# With a picture, and the time at which it was taken.
filmed() {  # NAME OPTION..
  name=$1
  shift
  ffmpeg -nostdin -v error -y -f lavfi -i "color=size=16x16:rate=25:duration=0.08" -f lavfi \
    -i "sine=frequency=700:sample_rate=8000:duration=0.08" -fflags +bitexact -flags:v +bitexact \
    -flags:a +bitexact -map_metadata -1 -timecode 10:00:00:00 "$@" "$folder/$name"
}

filmed mov-with-timecode.mov -c:v mjpeg -c:a pcm_s16le
filmed mp4-with-picture.mp4 -c:v mpeg4 -c:a aac
