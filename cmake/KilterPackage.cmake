# Debian packages: `cpack` in the build folder, or scripts/package, which configures for /usr.
set(KILTER_MAINTAINER "The kilter developers <developers@kilter.invalid>" CACHE STRING
    "Whom Debian packages name: whoever passes them on")

set(CPACK_GENERATOR DEB)
set(CPACK_PACKAGE_NAME kilter)
set(CPACK_PACKAGE_CONTACT ${KILTER_MAINTAINER})
set(CPACK_PACKAGING_INSTALL_PREFIX /usr)
set(CPACK_STRIP_FILES ON)
set(CPACK_VERBATIM_VARIABLES ON)
set(CPACK_COMPONENTS_ALL program development)
set(CPACK_DEB_COMPONENT_INSTALL ON)
set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_DEBIAN_PACKAGE_PRIORITY optional)
set(CPACK_PRE_BUILD_SCRIPTS ${CMAKE_CURRENT_LIST_DIR}/debian/finish.cmake)

# What the program needs is read off the program itself.
set(CPACK_DEBIAN_PROGRAM_PACKAGE_NAME kilter)
set(CPACK_DEBIAN_PROGRAM_PACKAGE_SECTION sound)
set(CPACK_DEBIAN_PROGRAM_PACKAGE_SHLIBDEPS ON)
set(CPACK_COMPONENT_PROGRAM_DESCRIPTION
"lines up the tracks of a show with its mixdown
A talk show was recorded in more than one place: microphones in a room, a
file from each guest, and the mixdown that everybody listened to. kilter
finds where every track belongs and how fast its clock ran, says how sure it
is of both, and writes stems that start together, last equally long and stay
in step, with edit lists and a report.")

set(CPACK_DEBIAN_DEVELOPMENT_PACKAGE_NAME libkilter-dev)
set(CPACK_DEBIAN_DEVELOPMENT_PACKAGE_SECTION libdevel)
set(dependencies pkg-config libsndfile1-dev libfftw3-dev libebur128-dev libfmt-dev libtomlplusplus-dev)
if(KILTER_LIBAV)
  list(APPEND dependencies libavformat-dev libavcodec-dev libavutil-dev)
endif()
list(JOIN dependencies ", " CPACK_DEBIAN_DEVELOPMENT_PACKAGE_DEPENDS)
set(CPACK_COMPONENT_DEVELOPMENT_DESCRIPTION
"layers of kilter, to build on
Headers, archives and a CMake package of what kilter is made of: reading
audio files, the estimator that places tracks against a mix, the resampler
and what writes stems and edit lists.")
include(CPack)
