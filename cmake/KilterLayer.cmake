# One target per folder of src/. A layer sees only the layers it names, directly or through them.
include(GNUInstallDirs)

add_library(kilter_flags INTERFACE)
target_compile_features(kilter_flags INTERFACE cxx_std_20)
# Contraction off: the same bits whether or not the compiler finds a fused multiply-add.
target_compile_options(kilter_flags INTERFACE -Wall -Wextra -Wconversion -Wshadow -Wpedantic
                                              -ffp-contract=off)
if(KILTER_WERROR)
  target_compile_options(kilter_flags INTERFACE -Werror)
endif()
if(KILTER_SANITIZE)
  target_compile_options(kilter_flags INTERFACE -fsanitize=${KILTER_SANITIZE}
                                                -fno-sanitize-recover=all -fno-omit-frame-pointer)
  target_link_options(kilter_flags INTERFACE -fsanitize=${KILTER_SANITIZE})
endif()
if(KILTER_FUZZ)  # the marks that steer the search, and those that tell afterwards what it reached
  target_compile_options(kilter_flags INTERFACE -fsanitize=fuzzer-no-link -fprofile-instr-generate
                                                -fcoverage-mapping)
  target_link_options(kilter_flags INTERFACE -fprofile-instr-generate)
endif()

# kilter_layer(NAME SOURCES a.cpp.. USES layer.. [LIBRARIES target..] [PRIVATE_LIBRARIES target..]
#              [HEADER_LIBRARIES target..])
# Of HEADER_LIBRARIES nothing is left once the layer is compiled: who builds on it does not need them.
function(kilter_layer name)
  cmake_parse_arguments(layer "" "" "SOURCES;USES;LIBRARIES;PRIVATE_LIBRARIES;HEADER_LIBRARIES" ${ARGN})
  add_library(kilter_${name} STATIC ${layer_SOURCES})
  target_include_directories(kilter_${name} PUBLIC $<BUILD_INTERFACE:${PROJECT_SOURCE_DIR}/include>
                                                   $<INSTALL_INTERFACE:${CMAKE_INSTALL_INCLUDEDIR}>)
  list(TRANSFORM layer_USES PREPEND kilter_)
  list(TRANSFORM layer_HEADER_LIBRARIES REPLACE "(.+)" "$<BUILD_INTERFACE:\\1>")
  target_link_libraries(kilter_${name} PUBLIC ${layer_USES} ${layer_LIBRARIES}
                        PRIVATE $<BUILD_INTERFACE:kilter_flags> ${layer_PRIVATE_LIBRARIES}
                                ${layer_HEADER_LIBRARIES})
  target_compile_features(kilter_${name} PUBLIC cxx_std_20)
  set_target_properties(kilter_${name} PROPERTIES EXPORT_NAME ${name})
  add_library(kilter::${name} ALIAS kilter_${name})
  set_property(GLOBAL APPEND PROPERTY KILTER_LAYERS ${name})
endfunction()

# kilter_test(NAME SOURCES a.cpp.. USES target.. [SHARED suite..] [SLOW filter..]): one GoogleTest
# program, every test known to CTest. What the tests of a suite share, made in its set-up, each would
# make anew in a process of its own: SHARED suites are one test of CTest's, in one process. Tests that
# match a SLOW filter are labelled so, and sanitizers leave them to others that walk the same code.
function(kilter_test name)
  cmake_parse_arguments(test "" "" "SOURCES;USES;SHARED;SLOW" ${ARGN})
  add_executable(${name} ${test_SOURCES})
  target_link_libraries(${name} PRIVATE ${test_USES} kilter_flags GTest::gtest_main)
  # Half the build is tests, and optimizing them takes longer than running them as they are.
  target_compile_options(${name} PRIVATE -O0)
  # One precompiled header for all: GoogleTest's takes a third of the time of compiling a test.
  if(NOT TARGET kilter_test_header)
    file(CONFIGURE OUTPUT ${PROJECT_BINARY_DIR}/test_header.cpp CONTENT "")
    add_library(kilter_test_header OBJECT ${PROJECT_BINARY_DIR}/test_header.cpp)
    target_link_libraries(kilter_test_header PRIVATE kilter_flags GTest::gtest)
    target_compile_options(kilter_test_header PRIVATE -O0)
    target_precompile_headers(kilter_test_header PRIVATE <gtest/gtest.h> <filesystem> <fstream>)
  endif()
  target_precompile_headers(${name} REUSE_FROM kilter_test_header)
  list(JOIN test_SLOW ":" slow)
  set(shared "")
  set(slow_shared "")
  foreach(suite ${test_SHARED})
    set(without "-${slow}")
    foreach(filter ${test_SLOW})  # Some*: whole suites are slow
      string(REGEX REPLACE "[*]$" "" begin "${filter}")
      string(FIND "${suite}" "${begin}" at)
      if(at EQUAL 0)
        set(without "")
      endif()
    endforeach()
    add_test(NAME ${suite} COMMAND ${name} "--gtest_filter=${suite}.*:${without}")
    # The longest first, or the last of them would run alone.
    set_tests_properties(${suite} PROPERTIES FAIL_REGULAR_EXPRESSION "Running 0 tests" COST 1000)
    if(without)
      string(APPEND shared "${suite}.*:")
    else()
      set_tests_properties(${suite} PROPERTIES LABELS slow)
      string(APPEND slow_shared "${suite}.*:")
    endif()
  endforeach()
  gtest_discover_tests(${name} DISCOVERY_TIMEOUT 60 NO_PRETTY_VALUES TEST_FILTER "-${shared}${slow}")
  if(slow)
    gtest_discover_tests(${name} DISCOVERY_TIMEOUT 60 NO_PRETTY_VALUES
                         TEST_FILTER "${slow}-${slow_shared}" PROPERTIES LABELS slow)
  endif()
endfunction()
