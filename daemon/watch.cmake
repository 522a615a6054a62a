# The watch: deterministic, no I/O. Then the command-line tool and the service around it.
add_library(underwing_watch STATIC)
add_library(underwing::watch ALIAS underwing_watch)
target_sources(underwing_watch PRIVATE
  daemon/air_view.cpp
  daemon/catch_up.cpp
  daemon/changes.cpp
  daemon/changes_farm.cpp
  daemon/changes_flocks.cpp
  daemon/changes_rules.cpp
  daemon/duty.cpp
  daemon/flock_view.cpp
  daemon/house_view.cpp
  daemon/intake.cpp
  daemon/plots.cpp
  daemon/plugin_messages.cpp
  daemon/recorder.cpp
  daemon/replay.cpp
  daemon/replies.cpp
  daemon/report.cpp
  daemon/tape_player.cpp
  daemon/status_words.cpp
  daemon/story.cpp
  daemon/watch.cpp
  daemon/watch_calls.cpp
  daemon/watch_danger.cpp
  daemon/watch_day.cpp
  daemon/watch_drill.cpp
  daemon/watch_drill_plan.cpp
  daemon/watch_duty.cpp
  daemon/watch_explain.cpp
  daemon/watch_heartbeat.cpp
  daemon/watch_holding.cpp
  daemon/watch_paths.cpp
  daemon/watch_replies.cpp
  daemon/watch_snapshot.cpp
  daemon/watch_words.cpp
  daemon/ways.cpp
  daemon/words.cpp
)
target_link_libraries(underwing_watch
  PUBLIC underwing_engine underwing_daemon
  PRIVATE underwing_strict underwing_explain fmt::fmt nlohmann_json::nlohmann_json)

add_executable(underwing
  daemon/tool/account.cpp
  daemon/tool/against.cpp
  daemon/tool/call_daemon.cpp
  daemon/tool/check.cpp
  daemon/tool/chosen.cpp
  daemon/tool/duty.cpp
  daemon/tool/explain.cpp
  daemon/tool/explain_facts.cpp
  daemon/tool/explain_now.cpp
  daemon/tool/explain_pack.cpp
  daemon/tool/files.cpp
  daemon/tool/flock_file.cpp
  daemon/tool/place.cpp
  daemon/tool/replay.cpp
  daemon/tool/report.cpp
  daemon/tool/schema.cpp
  daemon/tool/talk.cpp
  daemon/tool/terminal.cpp
  daemon/tool/underwing.cpp
)
target_compile_definitions(underwing PRIVATE UNDERWING_VERSION="${PROJECT_VERSION}")
target_link_libraries(underwing PRIVATE underwing_strict underwing_explain underwing_watch CLI11::CLI11 fmt::fmt nlohmann_json::nlohmann_json)
install(TARGETS underwing DESTINATION ${CMAKE_INSTALL_BINDIR})

add_library(underwing_service STATIC
  daemon/service.cpp
  daemon/service_control.cpp
  daemon/service_effects.cpp
  daemon/service_keep.cpp
  daemon/service_inputs.cpp
  daemon/tape_thread.cpp
)
target_link_libraries(underwing_service
  PUBLIC underwing_watch
  PRIVATE underwing_strict fmt::fmt spdlog::spdlog nlohmann_json::nlohmann_json)

add_executable(underwingd daemon/underwingd.cpp)
target_compile_definitions(underwingd PRIVATE UNDERWING_VERSION="${PROJECT_VERSION}")
target_link_libraries(underwingd PRIVATE underwing_strict underwing_service CLI11::CLI11)
install(TARGETS underwingd DESTINATION ${CMAKE_INSTALL_BINDIR})
