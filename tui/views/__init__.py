"""The main views, one file each: `tui.view.View` says what a view must do."""
